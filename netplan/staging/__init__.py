"""A long renewal split into stages: the fewest customers off at any one time, then the lowest burden.

``stage_renewal(request, renewal)`` is exact over the borders looked at and the ways to stop each stage that
were listed (the cheapest by their bound, as many as the rules' options): a dynamic programme, first over the
greatest number off in any stage, then over the burden with stops that two neighbouring stages share paid for
once. Burdens count everybody without gas as off: no feed is priced, so no priority customer may be stranded.
"""

from netplan.staging.renewal import Renewal, RenewalLeg, renewal_of_mains, renewal_of_street
from netplan.staging.renewal_stages import RenewalStage, Staging, stage_renewal
from netplan.staging.stage_split import NoSplitError, StageCandidate, split_exactly

__all__ = [
    "NoSplitError",
    "Renewal",
    "RenewalLeg",
    "RenewalStage",
    "StageCandidate",
    "Staging",
    "renewal_of_mains",
    "renewal_of_street",
    "split_exactly",
    "stage_renewal",
]
