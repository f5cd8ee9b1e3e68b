"""Feed and stack of a purge: the smallest pair that reaches the least velocity in every branch."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from netplan.core.constants import MM_PER_M
from netplan.core.errors import BadInputError
from netplan.gas.live_side_draw import FlowPath, PathPart, Supply, actual_per_standard, greatest_draw
from netplan.gas.purge_tree import PurgeLeg, PurgeTree, ZoneMains, purge_tree
from netplan.gas.purge_velocity import least_flow_m3_per_s
from netplan.gas.vented_gas import geometry_m3
from netplan.hydraulics import FlowConditions
from netplan.reference.outlet_sizes import nominal_outlet_mm
from netplan.reference.purge_figures import purge_figure

__all__ = [
    "Equipment",
    "LegFlow",
    "PurgeEquipment",
    "PurgeSource",
    "choose_rig",
    "fitting_bores_m",
    "leg_volume_m3",
]

ENOUGH = 1.0 - 1e-9


@dataclass(frozen=True, slots=True)
class Equipment:
    """What there is to purge with.

    Parameters
    ----------
    feed_bores_m, stack_bores_m : tuple of float
        Bores of tapping and hose, and of stacks [m]; the smallest that serves is taken.
    stack_height_m : float
        Height of a stack [m].
    feed_loss : float
        Tappings and bends of the feed, on the velocity in it [-].
    roughness_m : float
        Wall roughness of hose and stack [m].
    feed_length_m : float
        Length of the hose round a stop [m].
    """

    feed_bores_m: tuple[float, ...]
    stack_bores_m: tuple[float, ...]
    stack_height_m: float
    feed_loss: float
    roughness_m: float
    feed_length_m: float = field(default_factory=lambda: purge_figure("feed_length_m"))

    def __post_init__(self) -> None:
        if (
            not self.feed_bores_m
            or not self.stack_bores_m
            or min(*self.feed_bores_m, *self.stack_bores_m) <= 0
        ):
            raise BadInputError(
                "purge: no bore of feed or stack above 0; give purge.stack_bores_mm and hoses"
            )


@dataclass(frozen=True, slots=True)
class PurgeSource:
    """A stop that gas can be let in round, from its live side.

    Parameters
    ----------
    node : int
        Node of the stop in the zone.
    pipe : int
        Row of the main it is on.
    chainage_m : float
        Place of the tapping inside the zone [m].
    supply : Supply
        Pressure of the live side for a flow drawn.
    note : str
        What to mind about the outlet that the hose takes on the live side.
    outlet_m : float
        The narrower of the outlets that the hose joins, by nominal size [m].
    """

    node: int
    pipe: int
    chainage_m: float
    supply: Supply
    note: str = ""
    outlet_m: float = math.inf


@dataclass(frozen=True, slots=True)
class LegFlow:
    """Flow of one leg [m³/s at 15 °C, 101.325 kPa].

    Parameters
    ----------
    needed : float
        At the least velocity in the widest bore that is swept; twice that where a loop is swept from both
        sides.
    used : float
        What is let through: as much as the live side gives, throttled to a multiple of the least.
    left_pa_gauge : float
        Pressure of the live side while it flows [Pa gauge].
    starved : bool
        True where feed and stack would carry the least flow, but the live network does not give it.
    """

    needed: float
    used: float
    left_pa_gauge: float
    starved: bool = False

    @property
    def share(self) -> float:
        """Used over needed [-]; 1 or more reaches the least velocity."""
        return self.used / self.needed


@dataclass(frozen=True, slots=True, eq=False)
class PurgeEquipment:
    """A feed, its hose, the stack of every leg of the tree, and what they give in it."""

    source: PurgeSource
    feed_bore_m: float
    stack_bores_m: tuple[float, ...]
    tree: PurgeTree
    flows: tuple[LegFlow, ...]

    @property
    def least_share(self) -> float:
        """The worst leg's share of its least flow [-]."""
        return min((flow.share for flow in self.flows), default=1.0)

    @property
    def reaches(self) -> bool:
        """Whether every leg reaches the least velocity."""
        return self.least_share >= ENOUGH


def leg_volume_m3(mains: ZoneMains, leg: PurgeLeg) -> float:
    """Return the volume a leg sweeps for the first time [m³ actual]."""
    rows = list(leg.swept)
    return float(geometry_m3(mains.length_m[rows], mains.bore_m[rows]).sum())


def fitting_bores_m(bores_m: Sequence[float], outlet_m: float) -> list[float]:
    """Return the bores that are no wider than an outlet, by nominal size, rising [m].

    Where all are wider, the outlet's own bore: what is joined to it is reduced to that. Where there is no
    outlet, the narrowest bore.
    """
    if outlet_m <= 0.0:
        return [min(bores_m)]
    fitting = [bore for bore in bores_m if nominal_outlet_mm(bore * MM_PER_M) <= outlet_m * MM_PER_M + 1e-6]
    return sorted(fitting) or [outlet_m]


def choose_rig(
    mains: ZoneMains, sources: Sequence[PurgeSource], equipment: Equipment, conditions: FlowConditions
) -> PurgeEquipment:
    """Return the first feed, smallest hose and smallest stack that reach the least velocity everywhere.

    No hose or stack is wider than the outlet it is joined to, by nominal size.

    Feeds are tried in order of their pressure, the highest first: letting gas in at the other end is what
    to do where one end cannot. Where none reaches it, the rig that comes nearest is returned.

    Raises
    ------
    BadInputError
        When there is no source.
    OutsideValidityError
        For gas that the least velocity of natural gas does not hold for.
    """
    if not sources:
        raise BadInputError("purge: no stop has a live side to feed from; purge with inert gas from a vessel")
    order = sorted(sources, key=lambda s: (-s.supply(0.0), s.pipe, s.chainage_m))
    stacks = sorted(equipment.stack_bores_m)
    best: PurgeEquipment | None = None
    for source in order:
        tree = purge_tree(mains, source.node)
        feeds = fitting_bores_m(equipment.feed_bores_m, source.outlet_m)
        # No pair gives more than the widest one: only where that one serves is there a smaller to look for.
        widest = _rig(mains, source, tree, (feeds[-1], stacks[-1]), equipment, conditions)
        if widest.reaches:
            pairs = ((feed, stack) for feed in feeds for stack in stacks)
            serving = (p for p in pairs if _serves(mains, source, tree, p, equipment, conditions))
            pair = next(serving, (feeds[-1], stacks[-1]))
            return _rig(mains, source, tree, pair, equipment, conditions)
        if best is None or widest.least_share > best.least_share:
            best = widest
    assert best is not None  # noqa: S101 - there is at least one source
    return best


def _serves(
    mains: ZoneMains,
    source: PurgeSource,
    tree: PurgeTree,
    pair: tuple[float, float],
    equipment: Equipment,
    conditions: FlowConditions,
) -> bool:
    for leg in tree.legs:
        needed = _needed(mains, leg, conditions)
        bores = pair[0], _stack_m(mains, leg, pair[1], equipment)
        path = FlowPath(_path(mains, leg, *bores, equipment), conditions)
        # The undisturbed pressure is asked first: it costs no solving of the network.
        if not (path.carries(needed, source.supply(0.0)) and path.carries(needed, source.supply(needed))):
            return False
    return True


def _rig(
    mains: ZoneMains,
    source: PurgeSource,
    tree: PurgeTree,
    pair: tuple[float, float],
    equipment: Equipment,
    conditions: FlowConditions,
) -> PurgeEquipment:
    needed = [_needed(mains, leg, conditions) for leg in tree.legs]
    limit = greatest_draw(source.supply, max(needed) * purge_figure("throttled_to"))
    stacks = tuple(_stack_m(mains, leg, pair[1], equipment) for leg in tree.legs)
    flows = tuple(
        _leg_flow(
            source.supply, limit, FlowPath(_path(mains, leg, pair[0], stack, equipment), conditions), least
        )
        for leg, stack, least in zip(tree.legs, stacks, needed, strict=True)
    )
    return PurgeEquipment(source, pair[0], stacks, tree, flows)


def _stack_m(mains: ZoneMains, leg: PurgeLeg, most_m: float, equipment: Equipment) -> float:
    """Return the widest stack up to a bore that fits the outlet at the end of a leg [m]."""
    fitting = fitting_bores_m(equipment.stack_bores_m, mains.outlet_of(leg))
    return max((bore for bore in fitting if bore <= most_m), default=fitting[0])


def _path(
    mains: ZoneMains, leg: PurgeLeg, feed_bore_m: float, stack_bore_m: float, equipment: Equipment
) -> list[PathPart]:
    parts = [PathPart(equipment.feed_length_m, feed_bore_m, equipment.roughness_m, equipment.feed_loss)]
    for rows, air in ((leg.before, False), (leg.swept, True)):
        parts += [
            PathPart(float(mains.length_m[r]), float(mains.bore_m[r]), float(mains.roughness_m[r]), 0.0, air)
            for r in rows
        ]
    loss = purge_figure("stack_loss") + purge_figure("arrester_loss")
    parts.append(
        PathPart(equipment.stack_height_m, stack_bore_m, equipment.roughness_m, loss, holds_air=True)
    )
    return parts


def _needed(mains: ZoneMains, leg: PurgeLeg, conditions: FlowConditions) -> float:
    widest = max(float(mains.bore_m[row]) for row in leg.swept)
    actual = least_flow_m3_per_s(widest, conditions.gas) * (2.0 if leg.meets else 1.0)
    return actual / actual_per_standard(conditions)


def _leg_flow(supply: Supply, limit: float, path: FlowPath, needed: float) -> LegFlow:
    throttled = min(needed * purge_figure("throttled_to"), limit)
    enough = path.carries(throttled, supply(0.0)) and path.carries(throttled, supply(throttled))
    used = throttled if enough else path.flow_from(supply, throttled)
    # What the same path would carry if the live side gave way to nothing.
    starved = used < needed and path.carries(needed, supply(0.0))
    return LegFlow(needed, used, supply(used), starved)
