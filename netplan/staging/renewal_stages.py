"""From a renewal to its stages."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import islice, pairwise

import numpy as np
from numpy.typing import NDArray

from netplan.core.errors import NoPlanError
from netplan.excavations import work_excavations_minor
from netplan.isolation import Cut, CutStop, IsolationProblem, cuts, interruption_minor
from netplan.isolation.segment_graph import segment_graph
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planning.connectivity import reach_of
from netplan.planning.context import PlanningContext
from netplan.planning.rank import isolation_problem
from netplan.planning.request import PlanRequest
from netplan.rules import Rules
from netplan.staging.renewal import Renewal
from netplan.staging.stage_split import NoSplitError, StageCandidate, split_exactly

__all__ = ["RenewalStage", "StageIsolation", "Staging", "borders_of", "shared_stops", "stage_renewal"]

SAME_M = 0.01
MOST_SCANNED = 500


@dataclass(frozen=True, slots=True, eq=False)
class StageIsolation:
    """A way to stop a stage: the cut, and everybody off without a feed."""

    cut: Cut
    off: NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class RenewalStage:
    """One stage.

    Parameters
    ----------
    from_m, to_m : float
        Along the renewal [m].
    parts : tuple of WorkPart
    cut : Cut
    off : int array
        Rows of the customers off: isolated, or stranded without a feed.
    burden_minor : int
        Of this stage alone [minor units].
    shared : tuple of int
        Stops that the stage before has made already: rows of `cut.stops`.
    shared_minor : int
        What that saves [minor units].
    """

    from_m: float
    to_m: float
    parts: tuple[WorkPart, ...]
    cut: Cut
    off: NDArray[np.int64]
    burden_minor: int
    shared: tuple[int, ...]
    shared_minor: int


@dataclass(frozen=True, slots=True, eq=False)
class Staging:
    """A renewal in stages.

    Parameters
    ----------
    network : Network
    rules : Rules
    renewal : Renewal
    stages : tuple of RenewalStage
    most_off : int
        Customers off in the worst stage.
    burden_minor : int
        Of all stages, shared stops paid for once [minor units].
    borders_tried : int
    sections_tried : int
    """

    network: Network
    rules: Rules
    renewal: Renewal
    stages: tuple[RenewalStage, ...]
    most_off: int
    burden_minor: int
    borders_tried: int
    sections_tried: int


def borders_of(network: Network, renewal: Renewal, step_m: float) -> tuple[float, ...]:
    """Return where stages may end along a renewal [m]: ends of mains and pieces, and places between.

    Places between are set so that no two neighbours are farther apart than `step_m`. Of piece ends nearer
    to each other than half of that the first is taken; ends of mains always are.
    """
    pieces = network.pieces
    sure = {0.0, renewal.length_m, *(leg.start_m for leg in renewal.legs)}
    wished: set[float] = set()
    for leg in renewal.legs:
        rows = np.arange(*np.searchsorted(pieces.pipe, [leg.pipe, leg.pipe + 1]))
        for at in np.unique(pieces.from_m[rows]).tolist():
            wished.add(leg.start_m + (at if leg.forward else leg.length_m - at))
    chosen = sorted(sure)
    for at in sorted(wished):
        if min(abs(at - other) for other in chosen) >= step_m / 2:
            chosen.append(at)
    chosen.sort()
    full: list[float] = []
    for low, high in pairwise(chosen):
        count = max(1, int(np.ceil((high - low) / step_m - 1e-9)))
        full += [low + (high - low) * k / count for k in range(count)]
    return tuple(round(at, 3) for at in [*full, chosen[-1]])


def shared_stops(
    left: Sequence[CutStop], right: Sequence[CutStop], share_m: float
) -> tuple[tuple[int, int], ...]:
    """Return the pairs of stops that one place serves: the same valve, or one method within an excavation.

    Each stop is in one pair at most; pairs that save more come first.
    """
    fits = []
    for i, a in enumerate(left):
        for j, b in enumerate(right):
            same_valve = a.valve >= 0 and a.valve == b.valve
            one_hole = (
                a.valve < 0
                and b.valve < 0
                and a.pipe == b.pipe
                and a.method == b.method
                and abs(a.chainage_m - b.chainage_m) <= share_m
            )
            if same_valve or one_hole:
                fits.append((-min(a.price_minor, b.price_minor), i, j))
    chosen: list[tuple[int, int]] = []
    for _, i, j in sorted(fits):
        if all(i != one and j != other for one, other in chosen):
            chosen.append((i, j))
    return tuple(chosen)


def _saved_minor(left: Cut, right: Cut, share_m: float) -> int:
    return sum(
        min(left.stops[i].price_minor, right.stops[j].price_minor)
        for i, j in shared_stops(left.stops, right.stops, share_m)
    )


class _Sections:
    """Ways to stop every stage, worked out as they are asked for."""

    def __init__(self, request: PlanRequest, renewal: Renewal, borders: tuple[float, ...]) -> None:
        self.request, self.renewal, self.borders = request, renewal, borders
        self._context = PlanningContext.for_request(request)
        self._index = segment_graph(request.network)
        self._off_minor = interruption_minor(request.network, request.rules, request.window_hours)
        self.tried = 0
        self.reasons: dict[str, None] = {}
        _, whole = renewal.section(request.network, 0.0, renewal.length_m)
        self._problem: IsolationProblem = isolation_problem(self._context, whole)

    def ways(self, i: int, j: int) -> tuple[StageCandidate, ...]:
        """Return the ways to stop the stage between two borders; none where its length is not allowed."""
        staging, length = self.request.rules.staging, self.borders[j] - self.borders[i]
        alone = i == 0 and j == len(self.borders) - 1
        if length > staging.longest_m + SAME_M or (length < staging.shortest_m - SAME_M and not alone):
            return ()
        _, section = self.renewal.section(self.request.network, self.borders[i], self.borders[j])
        # No feed is priced here, so no tail may be taken for fed.
        problem = replace(self._problem, section=section, feed_bound=lambda _tail: None, every_place=False)
        search = cuts(problem, self._index)
        search.most_scanned = MOST_SCANNED
        self.tried += 1
        try:
            found = list(islice(search, self.request.wanted))
        except NoPlanError as error:
            self.reasons.update(dict.fromkeys(error.reasons))
            return ()
        dug = work_excavations_minor(self.request.network, self.request.rules, section)
        return tuple(self._way(cut, dug) for cut in found)

    def _way(self, cut: Cut, work_minor: int) -> StageCandidate:
        reach = reach_of(self._context, cut)
        off = np.flatnonzero(reach.isolated | reach.stranded)
        burden = cut.stops_minor + cut.gas_minor + work_minor + int(self._off_minor[off].sum())
        return StageCandidate(len(off), burden, StageIsolation(cut, off))


def stage_renewal(
    request: PlanRequest, renewal: Renewal, tell: Callable[[str], None] = lambda _: None
) -> Staging:
    """Split a renewal into stages.

    Parameters
    ----------
    request : PlanRequest
        Network, rules, window and orders; its work is not looked at.
    renewal : Renewal
    tell : callable, optional
        Called with a few words on what is being done.

    Raises
    ------
    NoPlanError
        When no series of stages within the rules' lengths can be stopped, with reasons.
    """
    rules = request.rules
    borders = borders_of(request.network, renewal, rules.staging.step_m)
    sections = _Sections(request, renewal, borders)

    def ways(i: int, j: int) -> tuple[StageCandidate, ...]:
        tell(f"stage from {borders[i]:.0f} m to {borders[j]:.0f} m of {renewal.length_m:.0f} m")
        return sections.ways(i, j)

    share_m = rules.staging.share_m
    try:
        split = split_exactly(len(borders), ways, lambda a, b: _saved_minor(a.what.cut, b.what.cut, share_m))
    except NoSplitError:
        raise NoPlanError(
            f"no series of stages from {rules.staging.shortest_m:g} m to {rules.staging.longest_m:g} m long "
            "can be stopped along the renewal",
            tuple(sections.reasons)[:5]
            or ("no borders fit these lengths: change the rules' staging lengths",),
        ) from None
    stages: list[RenewalStage] = []
    for k, way in enumerate(split.ways):
        low, high = borders[split.borders[k]], borders[split.borders[k + 1]]
        parts, _ = renewal.section(request.network, low, high)
        pairs = shared_stops(stages[-1].cut.stops, way.what.cut.stops, share_m) if stages else ()
        saved = _saved_minor(stages[-1].cut, way.what.cut, share_m) if stages else 0
        shared = tuple(sorted(j for _, j in pairs))
        stages.append(
            RenewalStage(low, high, parts, way.what.cut, way.what.off, way.burden_minor, shared, saved)
        )
    return Staging(
        request.network,
        rules,
        renewal,
        tuple(stages),
        split.most_off,
        split.burden_minor,
        len(borders),
        sections.tried,
    )
