"""A stop as the plan oracle works it out, and where valves are tapped beside: shares no code with the program."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

from netplan.network.model import Network
from netplan.rules.rule_set import Rules
from tests.support.main_lengths import Length
from tests.support.valve_room import Spans, Tapping, nearest_other, nearest_place

__all__ = ["PlannedStop", "Tapping", "with_valve_tappings"]

BESIDE_VALVE_M: Final = 1.0
"""How far from a valve its tappings go where there is room [m]."""


@dataclass(frozen=True)
class PlannedStop:
    """A stop as it is worked out here."""

    piece: int
    chainage_m: float
    tee_piece: int
    tee_pipe: int
    tee_m: float
    tee_at_end: bool
    zone_is_low: bool
    is_valve: bool
    pipe: int
    zone_node: int
    live_node: int
    tappings: tuple[Tapping, ...]
    """Its barriers and tappings, a tee on the next main left out."""
    tee_is_next: bool = False
    """Whether its bypass tee is on the next main."""
    method: str = ""

    @property
    def pit(self) -> tuple[tuple[int, float, float], ...]:
        """Mains with the chainages of the outermost things that its own pit holds on each [m]."""
        places = [(self.pipe, self.chainage_m), *((pipe, at) for _, pipe, at in self.tappings)]
        on = {pipe: [at for other, at in places if other == pipe] for pipe, _ in sorted(places)}
        return tuple((pipe, min(at), max(at)) for pipe, at in on.items())

    @property
    def every_tapping(self) -> list[Tapping]:
        """Its tappings with a tee on the next main."""
        return list(self.tappings) + [("bypass", self.tee_pipe, self.tee_m)] * self.tee_is_next

    def pipe_of(self, role: str) -> int:
        """Return the main that the tapping of a role is on; -1 for none."""
        return next((pipe for one, pipe, _ in self.every_tapping if one == role), -1)


def with_valve_tappings(
    network: Network,
    rules: Rules,
    lengths: list[Length],
    stops: Sequence[PlannedStop],
    spans_on: Callable[[Length], Spans],
    to_work: Callable[[int], float],
) -> list[PlannedStop]:
    """Return the stops of a cut with the tappings of its valves, one valve after the other along the mains.

    Where other stops leave no room beside a valve, the nearest tapping of the same kind serves it too.
    """
    found = list(stops)
    for row in sorted(range(len(found)), key=lambda row: (found[row].pipe, found[row].chainage_m)):
        stop = found[row]
        if not stop.is_valve:
            continue
        others = [one for other in found for one in other.every_tapping]
        tappings = []
        for role, node in (("zone_vent", stop.zone_node), ("gauge", stop.live_node)):
            place = partial(
                nearest_place,
                network,
                rules,
                lengths,
                node,
                stop.pipe,
                BESIDE_VALVE_M,
                spans_on=spans_on,
                to_work=to_work,
            )
            at = place(others) or nearest_other(network, lengths, node, role, others) or place(())
            assert at is not None, "a valve without room is no stop"
            tappings.append((role, *at))
        found[row] = replace(stop, tappings=tuple(tappings))
    return found
