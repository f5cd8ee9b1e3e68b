"""One district, ready to be asked about each of its mains."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from netplan.bypass.price import feed_lower_bound_minor
from netplan.constants import MM_PER_M
from netplan.errors import NoPlanError
from netplan.isolation import (
    MINOR_PER_UNIT,
    Cut,
    CutSearch,
    Index,
    IsolationProblem,
    SameFeed,
    build_index,
    cuts,
    interruption_minor,
)
from netplan.network.graph import fed_nodes
from netplan.network.model import Network
from netplan.network.words import Material
from netplan.plan.request import PlanRequest
from netplan.rules import Rules
from netplan.screening.around import Around
from netplan.screening.columns import empty_row
from netplan.screening.loss import has_priority
from netplan.screening.pressure import Pressures, Solved
from netplan.screening.settings import ScreenSettings, section_of

__all__ = ["Bench", "District"]

FIGURES_DIGITS: Final = 3
MOST_SCANNED: Final = 500
"""Zones that break a constraint in a row before a main counts as having no plan (own) [-]."""
PLAN, NO_PLAN = "plan", "no plan possible"


@dataclass(frozen=True, slots=True, eq=False)
class District:
    """What a worker needs to screen the mains of a district; no more than that goes to it.

    Parameters
    ----------
    network : Network
        Of the district alone.
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


class Bench:
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

    def __reduce__(self) -> tuple[type[Bench], tuple[District]]:
        """Go to another process as the district alone: what was worked out from it is worked out there."""
        return Bench, (self.district,)

    @cached_property
    def index(self) -> Index:
        """What the choice of stops looks up."""
        return build_index(self.network)

    @cached_property
    def _around(self) -> Around:
        return Around(self.index)

    @cached_property
    def _fed(self) -> NDArray[np.bool_]:
        return fed_nodes(self.network, injections=True)

    @cached_property
    def _priority(self) -> NDArray[np.bool_]:
        return has_priority(self.network)

    @cached_property
    def _off_minor(self) -> NDArray[np.int64]:
        return interruption_minor(self.network, self.rules, self.hours)

    @cached_property
    def _pressures(self) -> Pressures:
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
        return Pressures(request)

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
                feed_bound=self._feed_bound,
                alternatives=frozenset(),
            ),
            self.index,
        )

    def is_fed(self, main: int) -> bool:
        """Whether a supply reaches the main as recorded."""
        first = self.network.pieces.rows_of(main).start
        return bool(self._fed[self.network.pieces.from_node[first]])

    def row(self, main: int, *, trace: bool = True) -> dict[str, Any]:
        """Return the row of a main of the district, without what it loses at its ends.

        Parameters
        ----------
        main : int
            Row in the district's pipes.
        trace : bool
            Whether to keep where the search looked.
        """
        row = self._named(main)
        if not self.is_fed(main):
            return row | {"outcome": NO_PLAN, "reason": "no station and no injection feeds it as recorded"}
        search = self.search(main)
        search.most_scanned = MOST_SCANNED
        try:
            cut = next(search)
        except (NoPlanError, StopIteration) as error:
            reasons = getattr(error, "reasons", ()) or (str(error),)
            return row | {"outcome": NO_PLAN, "reason": reasons[0]} | (self._trace(search) if trace else {})
        row |= self._of_stops(main, cut)
        if trace:
            row |= self._trace(search)
            row["stop_chains"] = sorted({stop.chain for stop in cut.stops})
        return row

    def _named(self, main: int) -> dict[str, Any]:
        pipes = self.network.pipes
        section = section_of(self.network, main, self.district.settings)
        return empty_row() | {
            "main_id": pipes.id[main],
            "street": pipes.street[main],
            "system": self.network.systems[int(pipes.system[main])],
            "material": Material(int(pipes.material[main])).word,
            "od_mm": round(float(pipes.od_m[main]) * MM_PER_M, 1),
            "length_m": round(float(pipes.length_m[main]), FIGURES_DIGITS),
            "work_from_m": round(float(section.from_m[0]), FIGURES_DIGITS),
            "work_to_m": round(float(section.to_m[0]), FIGURES_DIGITS),
        }

    def _of_stops(self, main: int, cut: Cut) -> dict[str, Any]:
        stranded = self._around.stranded(cut)
        solved = self._pressures.solved(cut) if self.district.settings.pressure else Solved()
        off = np.unique(np.concatenate([cut.customers, stranded, solved.weak]))
        interruption = int(self._off_minor[off].sum())
        without_feeds = cut.stops_minor + cut.gas_minor + interruption
        methods = Counter(stop.method for stop in cut.stops)
        priority = int(self._priority[off].sum())
        return {
            "outcome": PLAN,
            "customers": len(off),
            "meters": int(self.network.customers.meters[off].sum()),
            "priority": priority,
            "isolated": len(cut.customers),
            "stranded": len(stranded),
            "weak": len(solved.weak),
            "stops": len(cut.stops),
            "stop_methods": ", ".join(f"{count} {name}" for name, count in sorted(methods.items())),
            "zone_length_m": round(
                sum(part.to_m - part.from_m for zone in cut.zones for part in zone.pieces), FIGURES_DIGITS
            ),
            "gas_m3": round(
                cut.gas_volume_m3 * self.district.gas_std_per_m3[int(self.network.pipes.system[main])],
                FIGURES_DIGITS,
            ),
            "burden_least": cut.bound_minor / MINOR_PER_UNIT,
            "burden_without_feeds": without_feeds / MINOR_PER_UNIT,
            "least_pressure_mbar": solved.least_mbar,
            "least_pressure_at": solved.least_at,
            "bypass": self._bypass(solved, len(stranded) + len(solved.weak), priority),
        }

    def _bypass(self, solved: Solved, hungry: int, priority: int) -> str:
        if not self.district.settings.pressure:
            return ""
        if not solved.is_solved:
            return "not solved"
        # No priority customer is ever in a zone: those that would go off are stranded or weak.
        return "no" if not hungry else "must" if priority else "yes"

    @staticmethod
    def _trace(search: CutSearch) -> dict[str, Any]:
        near = getattr(search, "near", None)
        if near is None:
            return {}
        return {"looked_at": near.looked_at()}
