"""How much of a shape its two ends leave for a stop."""

from __future__ import annotations

from typing import Final, NamedTuple

from netplan.isolation.segment_geometry import SegmentGeometry
from netplan.isolation.stop_methods import StopExtent

__all__ = ["ALL_OF_IT", "Ends", "FeasibleInterval", "ends_of", "feasible_interval"]


class Ends(NamedTuple):
    """What the two ends of a shape are: see `segment_geometry.SegmentGeometry`."""

    starts_at_work: bool
    ends_at_work: bool
    start_gap_m: float


class FeasibleInterval(NamedTuple):
    """The places between the ends of a shape: from `start_m` to `reach_m` and `clear_m` before its end."""

    start_m: float
    reach_m: float
    clear_m: float

    def end(self, length_m: float) -> float:
        """Return the last place on a shape of some length [m]; before `start_m` where there is none."""
        return min(length_m, length_m - self.reach_m - self.clear_m)


ALL_OF_IT: Final = FeasibleInterval(0.0, 0.0, 0.0)


def ends_of(shape: SegmentGeometry) -> Ends:
    """Return the ends of a shape."""
    return Ends(shape.starts_at_work, shape.ends_at_work, shape.start_gap_m)


def feasible_interval(ends: Ends, reach: StopExtent, work_m: float) -> FeasibleInterval:
    """Return what the ends of a shape leave an assembly.

    Parameters
    ----------
    ends : Ends
    reach : StopExtent
    work_m : float
        Clearance of its parts to the work [m].
    """
    start, need = 0.0, work_m - ends.start_gap_m
    if not ends.starts_at_work:
        start = max(start, -reach.near_m)
    if need > 0:
        start = max(start, need - reach.least_m)
    return (
        FeasibleInterval(start, reach.most_m, work_m)
        if ends.ends_at_work
        else FeasibleInterval(start, reach.far_m, 0.0)
    )
