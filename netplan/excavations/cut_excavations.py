"""What is dug for a cut whatever feeds it gets, and what that costs beyond its stops."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.excavations.outlines import MergedOutline, ServedLength, is_one, merged_outlines, outlines_of
from netplan.excavations.zone_dead_ends import DeadEnd, ZoneMainsPart, zone_mains_parts
from netplan.isolation import MINOR_PER_UNIT, Cut, CutStop, pit_price_minor
from netplan.network.model import Network
from netplan.network.work_section import WorkSection
from netplan.rules import Rules

__all__ = [
    "CutExcavations",
    "ExcavationCharge",
    "merged_excavations",
    "stop_lengths",
    "tee_elsewhere",
    "work_excavation_prices",
    "work_excavations_minor",
    "work_lengths",
]


def stop_lengths(stop: CutStop) -> tuple[ServedLength, ...]:
    """Return what of the mains a stop's own pit lays bare: barriers and tappings, but for a tee elsewhere."""
    at: dict[int, list[float]] = {stop.pipe: [stop.chainage_m]}
    elsewhere = tee_elsewhere(stop)
    for tapping in stop.tappings:
        if (tapping.pipe, tapping.chainage_m) != elsewhere:
            at.setdefault(tapping.pipe, []).append(tapping.chainage_m)
    return tuple(ServedLength(pipe, min(places), max(places)) for pipe, places in sorted(at.items()))


def tee_elsewhere(stop: CutStop) -> tuple[int, float] | None:
    """Return main and chainage [m] of a bypass tee on the next length; None for one in the stop's own pit."""
    if not stop.bypass_elsewhere:
        return None
    tees = [(one.pipe, one.chainage_m) for one in stop.tappings if one.role == "bypass"]
    return tees[0] if tees else None


def work_lengths(section: WorkSection) -> tuple[ServedLength, ...]:
    """Return the lengths of the work section."""
    rows = zip(section.pipe.tolist(), section.from_m.tolist(), section.to_m.tolist(), strict=True)
    return tuple(ServedLength(pipe, low, high) for pipe, low, high in rows)


@dataclass(frozen=True, slots=True)
class ExcavationCharge:
    """What one excavation costs that neither a stop nor a feed pays for.

    Parameters
    ----------
    what : str
        work, dead end or loop: what it is dug for.
    surface : int
        Code of the dearest surface over it, which is paid.
    beyond_m : float
        Length of work section beyond what the price of one excavation includes [m].
    price_minor : int
        [minor units].
    """

    what: Literal["work", "dead end", "loop"]
    surface: int
    beyond_m: float
    price_minor: int


def work_excavations_minor(network: Network, rules: Rules, section: WorkSection) -> int:
    """Return the price of the excavations of the work section itself, whatever stops it gets [minor units].

    Parts nearer to each other than the rules' ``excavation.merge_m`` are one: it costs one
    ``excavation.price``, the surcharge of its dearest surface, and ``excavation.price_per_m`` for each metre
    of work beyond ``excavation.length_m``.
    """
    return sum(price.price_minor for _, price in work_excavation_prices(network, rules, section))


def work_excavation_prices(
    network: Network, rules: Rules, section: WorkSection
) -> tuple[tuple[tuple[int, ...], ExcavationCharge], ...]:
    """Return the parts of the work section that are one excavation, and its price."""
    lengths = work_lengths(section)
    outlines = outlines_of(network, rules.excavation, [(length,) for length in lengths])
    return tuple(
        (one.members, _work_price(network, rules, [lengths[row] for row in one.members]))
        for one in merged_excavations(network, rules, outlines)
    )


def _work_price(network: Network, rules: Rules, lengths: Sequence[ServedLength]) -> ExcavationCharge:
    beyond_m = max(sum(one.to_m - one.from_m for one in lengths) - rules.excavation.length_m, 0.0)
    pit = _dearest(network, rules, "work", (one.pipe for one in lengths))
    more = round(rules.excavation.price_per_m * beyond_m * MINOR_PER_UNIT)
    return replace(pit, beyond_m=beyond_m, price_minor=pit.price_minor + more)


def _dearest(
    network: Network, rules: Rules, what: Literal["work", "dead end", "loop"], pipes: Iterable[int]
) -> ExcavationCharge:
    """Return the price of one excavation by the dearest surface over some mains; ties go to the first."""
    surfaces = [int(network.pipes.surface[pipe]) for pipe in pipes]
    dearest = max(surfaces, key=lambda surface: pit_price_minor(rules, surface))
    return ExcavationCharge(what, dearest, 0.0, pit_price_minor(rules, dearest))


def merged_excavations(
    network: Network, rules: Rules, outlines: NDArray[np.object_]
) -> tuple[MergedOutline, ...]:
    """Return the excavations that outlines make by the rules' ``excavation.merge_m``."""
    excavation, scale = rules.excavation, network.scale
    return merged_outlines(outlines, within_m=excavation.merge_m * scale, width_m=excavation.width_m * scale)


class CutExcavations:
    """The excavations of a cut that do not hang on its feeds.

    The pit of a stop is paid in the stop's price, and the work's own is the same for every cut. A dead end of
    the zone takes a purge point with an excavation of its own, free where it is one with a pit of these; dead
    ends that are one excavation pay for it once, by the dearest of their surfaces. A loop takes one where gas
    from both sides meets. Where that is depends on where gas is let in, so that it is paid in full, by the
    dearest surface over the part of the zone it is in, whatever it may be one with.

    Parameters
    ----------
    network : Network
    rules : Rules
    section : WorkSection
    work_minor : int
        What `work_excavations_minor` returns of them.
    cut : Cut
    """

    def __init__(
        self, network: Network, rules: Rules, section: WorkSection, work_minor: int, cut: Cut
    ) -> None:
        self.network, self.rules, self.section, self.cut = network, rules, section, cut
        self.work_minor = work_minor
        self._tees: dict[tuple[int, float], int] = {}

    @property
    def price_minor(self) -> int:
        """Price of the work's own excavation and those of dead ends and loops [minor units]."""
        ends = sum(price.price_minor for _, price in self.dead_end_prices if price)
        loops = sum(self.loop_price(part).price_minor * part.loops for part in self.parts if part.loops)
        return self.work_minor + ends + loops

    @cached_property
    def parts(self) -> tuple[ZoneMainsPart, ...]:
        """Connected parts of the open mains in the zones."""
        return zone_mains_parts(self.network, self.cut)

    def loop_price(self, part: ZoneMainsPart) -> ExcavationCharge:
        """Return what the excavation for one loop of a part costs."""
        return _dearest(self.network, self.rules, "loop", part.mains)

    @cached_property
    def dead_end_prices(self) -> tuple[tuple[tuple[DeadEnd, ...], ExcavationCharge | None], ...]:
        """Dead ends that are one excavation, and what it costs; None where it is paid already."""
        dead = [end for part in self.parts for end in part.dead_ends]
        if not dead:
            return ()
        own = outlines_of(self.network, self.rules.excavation, [(_at(end),) for end in dead])
        count = len(self.paid_outlines)
        found = []
        for one in merged_excavations(self.network, self.rules, np.concatenate([self.paid_outlines, own])):
            ends = tuple(dead[row - count] for row in one.members if row >= count)
            if ends:
                is_paid = len(ends) < len(one.members)
                price = _dearest(self.network, self.rules, "dead end", (end.pipe for end in ends))
                found.append((ends, None if is_paid else price))
        return tuple(found)

    @cached_property
    def paid_outlines(self) -> NDArray[np.object_]:
        """Outlines of the stops' pits, in their order, and of the work section's parts."""
        things = [
            *(stop_lengths(stop) for stop in self.cut.stops),
            *((length,) for length in work_lengths(self.section)),
        ]
        return outlines_of(self.network, self.rules.excavation, things)

    @cached_property
    def _paid(self) -> NDArray[np.object_]:
        found = np.empty(0, dtype=object)
        merged = merged_excavations(self.network, self.rules, self.paid_outlines)
        return np.append(found, [one.outline for one in merged])

    def tee_minor(self, pipe: int, chainage_m: float) -> int:
        """Return what a tee of a hose or bypass adds [minor units]: 0 where a stop or the work is dug for.

        Parameters
        ----------
        pipe : int
            Row of the main.
        chainage_m : float
            Place on it [m].
        """
        key = pipe, chainage_m
        if key not in self._tees:
            (outline,) = outlines_of(
                self.network, self.rules.excavation, [(ServedLength(pipe, chainage_m, chainage_m),)]
            )
            near = self.rules.excavation.merge_m * self.network.scale
            is_paid = bool(is_one(shapely.distance(outline, self._paid), near).any())
            surface = int(self.network.pipes.surface[pipe])
            self._tees[key] = 0 if is_paid else pit_price_minor(self.rules, surface)
        return self._tees[key]


def _at(end: DeadEnd) -> ServedLength:
    return ServedLength(end.pipe, end.chainage_m, end.chainage_m)
