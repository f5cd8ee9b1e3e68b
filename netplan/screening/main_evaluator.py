"""One district, ready to be asked about each of its mains."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from netplan.core.errors import NoPlanError
from netplan.excavations import work_excavations_minor
from netplan.feeds.feed_prices import feed_lower_bound_minor
from netplan.isolation import (
    MINOR_PER_UNIT,
    CutSearch,
    IsolationProblem,
    Orders,
    Outline,
    SameFeed,
    SegmentGraph,
    cuts,
    interruption_minor,
)
from netplan.isolation.segment_graph import segment_graph
from netplan.network.model import Network
from netplan.network.topology import fed_nodes
from netplan.planning.request import PlanRequest
from netplan.rules import Rules
from netplan.screening.full_evaluator import FullEvaluator
from netplan.screening.loss_at_ends import has_priority
from netplan.screening.named_mains import FIGURES_DIGITS, named_rows
from netplan.screening.plan_outcomes import NO_PLAN, NOT_SETTLED, counted
from netplan.screening.screen_columns import EMPTY_ROW
from netplan.screening.screen_settings import ScreenSettings, section_of
from netplan.screening.stranding_search import StrandingSearch
from netplan.screening.unfed_pressures import PressureSolver, SolvedPressures

__all__ = ["NOT_SETTLED", "NO_PLAN", "STOPS_FOUND", "District", "MainEvaluator"]

MOST_SCANNED: Final = 500
"""Zones that break a constraint in a row before the search for stops gives up (own) [-]."""
STOPS_FOUND = "stops found"
"""Outcome beside `NO_PLAN` and `NOT_SETTLED`: stops isolate the work, and whether feeds, pressures, hours and
the order of the work allow a plan is for `planning` to say."""
_UNFED: Final = "no station and no injection feeds it as recorded"
_NO_STOP: Final = {
    "outcome": NOT_SETTLED,
    "reason": f"{_UNFED}, so that the cheapest zone has no stop, and no plan is made of that; look for the "
    "missing link or station",
}


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class District:
    """What a worker needs to screen the mains of a district; no more than that goes to it.

    Where the best option of each main is priced the whole network is one district: a plan counts who is fed
    together, and loads of stations, in all of it.

    Parameters
    ----------
    network : Network
        Of the district alone, or the whole one.
    rules : Rules
    settings : ScreenSettings
    gas_minor_per_m3 : tuple of float
        Price of the gas of a cubic metre of pipe by pressure system [minor units per m³ of geometric volume].
    gas_std_per_m3 : tuple of float
        That gas by pressure system [m³ at 15 °C, 101.325 kPa, per m³ of geometric volume].
    """

    network: Network
    rules: Rules
    settings: ScreenSettings
    gas_minor_per_m3: tuple[float, ...]
    gas_std_per_m3: tuple[float, ...]


_FULL: Final[WeakKeyDictionary[District, FullEvaluator]] = WeakKeyDictionary()
"""What prices the best options in a district, while somebody holds the district."""


class MainEvaluator:
    """A district with everything worked out once that is the same for all its mains.

    Parameters
    ----------
    district : District
    """

    def __init__(self, district: District) -> None:
        self.district, self.network, self.rules = district, district.network, district.rules
        # No feed costs less than the cheapest kind at no length: a bound that needs no search.
        self._feed_bound = SameFeed(
            feed_lower_bound_minor(self.rules, least_bypass_m=0.0, least_hose_m=0.0, has_valve=True)
        )

    def __reduce__(self) -> tuple[type[MainEvaluator], tuple[District]]:
        """Go to another process as the district alone: what was worked out from it is worked out there."""
        return MainEvaluator, (self.district,)

    @cached_property
    def index(self) -> SegmentGraph:
        """What the choice of stops looks up."""
        return segment_graph(self.network)

    @cached_property
    def _around(self) -> StrandingSearch:
        return StrandingSearch(self.index)

    @cached_property
    def _fed(self) -> NDArray[np.bool_]:
        """Which mains a supply reaches somewhere as recorded."""
        pieces, at = self.network.pieces, fed_nodes(self.network, injections=True)
        fed: NDArray[np.bool_] = np.zeros(len(self.network.pipes), dtype=np.bool_)
        fed[pieces.pipe[at[pieces.from_node] | at[pieces.to_node]]] = True
        return fed

    @cached_property
    def _priority(self) -> NDArray[np.bool_]:
        return has_priority(self.network)

    @cached_property
    def _off_minor(self) -> NDArray[np.int64]:
        return interruption_minor(self.network, self.rules, self.hours)

    @cached_property
    def _pressures(self) -> PressureSolver:
        settings = self.district.settings
        request = PlanRequest(
            self.network,
            (),
            self.rules,
            start=settings.start,
            hours=settings.hours,
            air_temp_c=settings.air_temp_c,
            weather=False,
        )
        return PressureSolver(request, (lambda: self.full.context) if settings.full else None)

    @cached_property
    def full(self) -> FullEvaluator:
        """What prices the best option of a main; the same for everybody who asks about this district."""
        if self.district not in _FULL:
            _FULL[self.district] = FullEvaluator(self.network, self.rules, self.district.settings)
        return _FULL[self.district]

    @property
    def hours(self) -> float:
        """Length of the window [h]."""
        return self.district.settings.hours or self.rules.crew.hours

    def search(self, main: int) -> CutSearch:
        """Return the search for the best stops of a main of the district."""
        section = section_of(self.network, main, self.district.settings)
        return cuts(
            IsolationProblem(
                network=self.network,
                section=section,
                rules=self.rules,
                hours=self.hours,
                gas_minor_per_m3=self.district.gas_minor_per_m3[int(self.network.pipes.system[main])],
                orders=Orders(max_stops=self.rules.choice.max_stops),
                feed_bound=self._feed_bound,
                alternatives=frozenset(),
            ),
            self.index,
        )

    def work_excavations_minor(self, main: int) -> int:
        """Return the price of the excavation of the work on a main itself [minor units].

        Purge points at dead ends are left out of a screen: both burdens are below a plan's by what they add.
        """
        section = section_of(self.network, main, self.district.settings)
        return work_excavations_minor(self.network, self.rules, section)

    def rows(self, mains: Sequence[int], *, trace: bool = True) -> Iterator[dict[str, Any]]:
        """Yield the rows of mains of the district, without what they lose at their ends.

        Parameters
        ----------
        mains : sequence of int
            Rows in the district's pipes.
        trace : bool
            Whether to keep where the search looked.
        """
        for main, named in zip(mains, named_rows(self.network, self.district.settings, mains), strict=True):
            best = self.full.row(main) if self.district.settings.full else {}
            yield {**EMPTY_ROW, **named, **self._figures(main, trace=trace), **best}

    def _figures(self, main: int, *, trace: bool) -> dict[str, Any]:
        search = self.search(main)
        search.most_scanned = MOST_SCANNED
        try:
            cut = search.outline()
        except NoPlanError as error:
            row = _without_stops(error, search)
        else:
            row = self._of_stops(main, cut, search) if cut.segments else dict(_NO_STOP)
            if cut.segments and not self._fed.item(main):
                row["reason"] = _UNFED
            if trace:
                row["stop_chains"] = sorted(set(cut.chains))
        return row | self._trace(search) if trace else row

    def _of_stops(self, main: int, cut: Outline, search: CutSearch) -> dict[str, Any]:
        stranded = self._around.stranded(cut)
        solved = (
            self._pressures.solved(search.cut(cut)) if self.district.settings.pressure else SolvedPressures()
        )
        off, interruption = cut.customers, cut.interruption_minor
        if len(stranded) or len(solved.weak):
            off = np.unique(np.concatenate([cut.customers, stranded, solved.weak]))
            interruption = sum(self._off_minor[off].tolist())
        excavations = self.work_excavations_minor(main)
        without_feeds = cut.stops_minor + cut.gas_minor + interruption + excavations
        priority = int(np.count_nonzero(self._priority[off]))
        pipes, system = self.network.pipes, self.network.pipes.system.item(main)
        return {
            "outcome": STOPS_FOUND,
            "customers": len(off),
            "meters": sum(self.network.customers.meters[off].tolist()),
            "priority": priority,
            "isolated": len(cut.customers),
            "stranded": len(stranded),
            "weak": len(solved.weak),
            "stops": len(cut.segments),
            "stop_methods": counted(cut.methods),
            "zone_length_m": round(cut.length_m, FIGURES_DIGITS),
            "gas_m3": round(
                cut.volume_m3(pipes.bore_m) * self.district.gas_std_per_m3[system], FIGURES_DIGITS
            ),
            "burden_least": (cut.bound_minor + excavations) / MINOR_PER_UNIT,
            "burden_without_feeds": without_feeds / MINOR_PER_UNIT,
            "least_pressure_mbar": solved.least_mbar,
            "least_pressure_at": solved.least_at,
            "bypass": self._bypass(solved, len(stranded) + len(solved.weak), priority),
        }

    def _bypass(self, solved: SolvedPressures, deficient: int, priority: int) -> str:
        if not self.district.settings.pressure:
            return ""
        if not solved.is_solved:
            return "not solved"
        # No priority customer is ever in a zone: those that would go off are stranded or weak.
        return "no" if not deficient else "must" if priority else "yes"

    @staticmethod
    def _trace(search: CutSearch) -> dict[str, Any]:
        if not search.has_begun:
            return {}
        return {"looked_at": search.local.looked_at().astype(np.int32)}


def _without_stops(error: NoPlanError, search: CutSearch) -> dict[str, Any]:
    """Return what a row says where no stops were found: that there are none only where that is shown."""
    if not error.cut_short:
        return {"outcome": NO_PLAN, "reason": error.reasons[0]}
    return {
        "outcome": NOT_SETTLED,
        "reason": f"no stops found after {search.tried_in_a_row}, but there may be some: {error.reasons[0]}",
    }
