"""A long renewal split into stages: the fewest meters off at any one time, then the lowest burden.

``stage_renewal(request, renewal)`` plans lengths of the renewal like any work, with feeds, pressures, hours
and the order of the work: first those that decide how many meters are off in the worst stage (`fewest_off`),
then those that decide the burden (`least_burden`). The series is exact over the borders looked at and the
options listed of each length; where not every length could be planned, the gap to the least burden is
stated.
"""

from netplan.staging.renewal import Renewal, RenewalLeg, renewal_of_mains, renewal_of_street
from netplan.staging.renewal_stages import RenewalStage, Staging, stage_renewal
from netplan.staging.shared_places import SharedPlaces, Sharing
from netplan.staging.stage_split import NoSplitError, StageCandidate, split_exactly

__all__ = [
    "NoSplitError",
    "Renewal",
    "RenewalLeg",
    "RenewalStage",
    "SharedPlaces",
    "Sharing",
    "StageCandidate",
    "Staging",
    "renewal_of_mains",
    "renewal_of_street",
    "split_exactly",
    "stage_renewal",
]
