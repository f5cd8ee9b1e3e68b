"""One measure: a valve, a link, a repair or a record to verify, its place, its saving and its price."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from netplan.network.linear_reference import points_at
from netplan.network.model import Network
from netplan.network.vocabulary import Operable, ValveState
from netplan.rules.rule_set import Rules
from netplan.screening.new_link import mains_at, straight_m
from netplan.screening.valve_candidates import NewValve

__all__ = ["Measure", "MeasureKind", "Saving", "link_measure", "mended_valve_measure", "new_valve_measure"]


class MeasureKind(StrEnum):
    """What is done."""

    VALVE = "new valve"
    LINK = "new link"
    REPAIR = "repair"
    VERIFY = "record to verify"


@dataclass(frozen=True, slots=True)
class Measure:
    """One thing to spend money on.

    Parameters
    ----------
    kind : MeasureKind
    what : str
        In words.
    valve_id : str
        The valve to repair or to verify; empty otherwise.
    main_id : str
        Main that it is on; of a link the one at its first end.
    chainage_m : float or None
        Place on that main [m]; None for a link.
    x_m, y_m : float
        In the working CRS [m]; of a link its first end.
    to_main : str
    to_x_m, to_y_m : float or None
        Other end of a link.
    saved_a_year : float
        Burden saved a year, by the lower bounds of the burdens, at the rules' rate of works [currency].
    saved_unfed_a_year : float or None
        Of a link: the same if nobody is ever fed by a bypass, a hose or an opened valve [currency a year].
    mains : int
        Mains that save something.
    customers : int
        Customers that stay on, summed over the mains it concerns.
    price : float
        By the rules [currency].
    """

    kind: MeasureKind
    what: str
    valve_id: str
    main_id: str
    chainage_m: float | None
    x_m: float
    y_m: float
    to_main: str
    to_x_m: float | None
    to_y_m: float | None
    saved_a_year: float
    saved_unfed_a_year: float | None
    mains: int
    customers: int
    price: float

    @property
    def years(self) -> float:
        """Years in which it saves its price [a]."""
        return self.price / self.saved_a_year

    def order(self) -> tuple[str, str, float, str, float, float]:
        """Return what measures of equal saving are sorted by."""
        return self.kind, self.main_id, self.chainage_m or 0.0, self.to_main, self.x_m, self.y_m


@dataclass(frozen=True, slots=True)
class Saving:
    """What a measure saves.

    Parameters
    ----------
    a_year : float
        [currency a year].
    unfed_a_year : float or None
        As of `Measure`.
    mains, customers : int
    """

    a_year: float
    unfed_a_year: float | None
    mains: int
    customers: int


def new_valve_measure(valve: NewValve, rules: Rules) -> Measure:
    """Return a new valve as a measure."""
    return Measure(
        MeasureKind.VALVE,
        "new valve",
        "",
        valve.main_id,
        valve.chainage_m,
        valve.x_m,
        valve.y_m,
        "",
        None,
        None,
        valve.saved_a_year,
        None,
        valve.mains,
        valve.customers,
        rules.measures.valve,
    )


def mended_valve_measure(
    kind: MeasureKind, network: Network, valve: int, rules: Rules, saving: Saving
) -> Measure:
    """Return a valve made usable as a measure: repaired, or its record verified."""
    valves = network.valves
    main, at_m = valves.pipe.item(valve), valves.chainage_m.item(valve)
    x, y = points_at(network, np.array([main]), np.array([at_m]))[0]
    doubts = ["operable"] if valves.operable[valve] == Operable.UNKNOWN else []
    if valves.state[valve] == ValveState.UNKNOWN:
        doubts.append("open")
    asked = f"is it {' and '.join(doubts)}?" if doubts else ""
    what = "recorded as not operable" if kind is MeasureKind.REPAIR else asked
    if kind is MeasureKind.REPAIR and asked:
        what = f"{what}; {asked}"
    return Measure(
        kind,
        what,
        valves.id[valve],
        network.pipes.id[main],
        round(at_m, 3),
        float(x),
        float(y),
        "",
        None,
        None,
        saving.a_year,
        None,
        saving.mains,
        saving.customers,
        rules.measures.repair if kind is MeasureKind.REPAIR else rules.measures.verify,
    )


def link_measure(network: Network, a: int, b: int, rules: Rules, saving: Saving) -> Measure:
    """Return a main between two nodes as a measure."""
    x, y = network.nodes.x_m, network.nodes.y_m
    names = [network.pipes.id[min(mains_at(network, node))] for node in (a, b)]
    gap_m = straight_m(network, a, b)
    return Measure(
        MeasureKind.LINK,
        "new main with a valve",
        "",
        names[0],
        None,
        float(x[a]),
        float(y[a]),
        names[1],
        float(x[b]),
        float(y[b]),
        saving.a_year,
        saving.unfed_a_year,
        saving.mains,
        saving.customers,
        rules.measures.link + rules.measures.link_per_m * gap_m,
    )
