"""Purging a zone out of service and back in: points, flows, times, end points, and what to do when slow."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from netplan.core.units import convert, rounded_up
from netplan.gas.live_side_draw import actual_per_standard
from netplan.gas.purge_equipment import Equipment, PurgeEquipment, PurgeSource, choose_rig, leg_volume_m3
from netplan.gas.purge_tree import PurgeTree, ZoneMains, purge_tree
from netplan.gas.purge_velocity import least_velocity_m_s, minutes_to_purge, natural_gas_figures_hold
from netplan.hydraulics import FlowConditions
from netplan.reference.gas import Gas
from netplan.reference.purge_figures import (
    end_point_words,
    end_points,
    purge_cautions,
    purge_distances,
    purge_figure,
)

__all__ = ["PurgePlace", "PurgePlan", "end_point_lines", "purge_plan", "unfed_purge_plan"]

AIR_OR_INERT = "out by air mover or inert gas, back in by gas from the live side"
INERT_ONLY = "inert gas only, out and back in"


@dataclass(frozen=True, slots=True)
class PurgePlace:
    """Where gas or air goes in or out.

    Parameters
    ----------
    role : str
        feed, vent, or cut part: the vent of a part between two cuts.
    pipe : int
        Row of the main.
    chainage_m : float
        Place on it [m].
    order : int
        In which order vents are purged, from 1; 0 for a feed.
    bore_m : float or None
        Of hose or stack [m]; None where it is for the operator to say.
    outlet_m : float or None
        The outlet that it is joined to, by nominal size [m]; None where that is not known.
    minutes_out, minutes_in : float or None
        Times of this leg [min].
    note : str
    least_m3_per_s_std, flow_in_m3_per_s_std : float or None
        Least flow of this leg and the flow that can be had when gas comes back in
        [m³/s at 15 °C, 101.325 kPa]; None for a feed, or where inert gas alone is used.
    slug_m3 : float or None
        Nitrogen that fills this leg ahead of the gas [m³ actual]; None where all reach their least flow.
    """

    role: Literal["feed", "vent", "cut part"]
    pipe: int
    chainage_m: float
    order: int
    bore_m: float | None
    minutes_out: float | None = None
    minutes_in: float | None = None
    note: str = ""
    outlet_m: float | None = None
    least_m3_per_s_std: float | None = None
    flow_in_m3_per_s_std: float | None = None
    slug_m3: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class PurgePlan:
    """How a zone is purged out of service and back in.

    Parameters
    ----------
    volumes_out, volumes_in : float
        Multiples of the line volume [-].
    medium : str
        What drives gas out, and what comes in.
    least_velocity_m_s : float or None
        In the widest bore [m/s actual]; None where the figures of natural gas are refused.
    least_flow_m3_per_s_std : float or None
        The greatest least flow of any leg [m³/s at 15 °C, 101.325 kPa].
    minutes_out, minutes_in : float or None
        Sum over the legs [min].
    draw_m3_per_s_std : float or None
        The most that the live side gives in any leg [m³/s at 15 °C, 101.325 kPa]: a load on the network.
    dip_pa : float or None
        The most that this lowers the live side at the tapping [Pa].
    reached : bool or None
        Whether every leg reaches the least velocity.
    places : tuple of PurgePlace
        The feed, then the vents in their order.
    volume_m3 : float
        Mains swept [m³ actual].
    end_points, notes : tuple of str
        ``out:``, ``in:`` and ``entry:`` lines, each with its unit; advice and cautions.
    has_gas : bool
        Whether a stop has gas behind it to purge with.
    """

    volumes_out: float
    volumes_in: float
    medium: str
    least_velocity_m_s: float | None
    least_flow_m3_per_s_std: float | None
    minutes_out: float | None
    minutes_in: float | None
    draw_m3_per_s_std: float | None
    dip_pa: float | None
    reached: bool | None
    places: tuple[PurgePlace, ...]
    volume_m3: float
    end_points: tuple[str, ...]
    notes: tuple[str, ...]
    has_gas: bool = True


def purge_plan(
    mains: ZoneMains,
    sources: Sequence[PurgeSource],
    equipment: Equipment,
    conditions: FlowConditions,
    *,
    volumes_out: float,
    volumes_in: float,
) -> PurgePlan:
    """Return how one zone is purged.

    Parameters
    ----------
    mains : ZoneMains
        Intervals of mains in the zone; services are left out, each is purged when its customer is relit.
    sources : sequence of PurgeSource
        Stops with a live side; at least one.
    equipment : Equipment
    conditions : FlowConditions
        Gas, ground temperature, air pressure.
    volumes_out, volumes_in : float
        Multiples of the line volume, ≥ 1 [-].

    Raises
    ------
    BadInputError
        When there is no source, or a source is on no main of the zone.
    """
    if not natural_gas_figures_hold(conditions.gas):
        return _inert_plan(mains, sources, conditions.gas, volumes_out, volumes_in)
    rig = choose_rig(mains, sources, equipment, conditions)
    standard = actual_per_standard(conditions)
    volumes = [leg_volume_m3(mains, leg) for leg in rig.tree.legs]
    out = [
        minutes_to_purge(v, volumes_out, f.needed * standard) for v, f in zip(volumes, rig.flows, strict=True)
    ]
    into = [
        minutes_to_purge(v, volumes_in, f.used * standard) if f.used > 0.0 else None
        for v, f in zip(volumes, rig.flows, strict=True)
    ]
    before = rig.source.supply(0.0)
    swept = [row for leg in rig.tree.legs for row in leg.swept]
    return PurgePlan(
        volumes_out=volumes_out,
        volumes_in=volumes_in,
        medium=AIR_OR_INERT,
        least_velocity_m_s=max(least_velocity_m_s(float(mains.bore_m[row]), conditions.gas) for row in swept),
        least_flow_m3_per_s_std=max(flow.needed for flow in rig.flows),
        minutes_out=sum(out),
        minutes_in=None if any(m is None for m in into) else sum(m for m in into if m is not None),
        draw_m3_per_s_std=max(flow.used for flow in rig.flows),
        dip_pa=max(before - flow.left_pa_gauge for flow in rig.flows),
        reached=rig.reaches,
        places=_places(mains, rig, out, into, volumes),
        volume_m3=sum(volumes),
        end_points=end_point_lines(conditions.gas, nitrogen_first=not rig.reaches),
        notes=(*_advice(rig, equipment, sum(volumes)), *_about_tree(rig.tree), *_cautions()),
    )


def unfed_purge_plan(
    mains: ZoneMains,
    inlets: Sequence[PurgeSource],
    conditions: FlowConditions,
    *,
    volumes_out: float,
    volumes_in: float,
) -> PurgePlan:
    """Return how a zone is purged that no stop has gas behind: inert gas in at one place, out at each end.

    Parameters
    ----------
    mains, conditions, volumes_out, volumes_in
        As in `purge_plan`.
    inlets : sequence of PurgeSource
        Where inert gas may be let in; the first by main and chainage is taken.
    """
    plan = _inert_plan(mains, inlets, conditions.gas, volumes_out, volumes_in)
    reached = False if natural_gas_figures_hold(conditions.gas) else None
    return replace(plan, reached=reached, has_gas=False)


def _inert_plan(
    mains: ZoneMains, sources: Sequence[PurgeSource], gas: Gas, volumes_out: float, volumes_in: float
) -> PurgePlan:
    first = min(sources, key=lambda s: (-s.supply(0.0), s.pipe, s.chainage_m)) if sources else None
    tree = purge_tree(mains, first.node) if first else PurgeTree((), ())
    places: list[PurgePlace] = []
    if first:
        outlet_m = _known(first.outlet_m)
        places.append(
            PurgePlace("feed", first.pipe, first.chainage_m, 0, None, note=first.note, outlet_m=outlet_m)
        )
    places += [
        PurgePlace(
            "vent",
            leg.pipe,
            leg.chainage_m,
            k,
            None,
            note=_vent_note(leg.meets, 1.0, mains.outlet_of(leg)),
            outlet_m=_known(mains.outlet_of(leg)),
        )
        for k, leg in enumerate(tree.legs, 1)
    ]
    refused = () if natural_gas_figures_hold(gas) else (_refused_words(gas),)
    return PurgePlan(
        volumes_out=volumes_out,
        volumes_in=volumes_in,
        medium=INERT_ONLY,
        least_velocity_m_s=None,
        least_flow_m3_per_s_std=None,
        minutes_out=None,
        minutes_in=None,
        draw_m3_per_s_std=None,
        dip_pa=None,
        reached=None,
        places=tuple(places),
        volume_m3=sum(leg_volume_m3(mains, leg) for leg in tree.legs),
        end_points=end_point_lines(gas, nitrogen_first=True),
        notes=(*refused, *_about_tree(tree), *_cautions()),
    )


def _refused_words(gas: Gas) -> str:
    return (
        f"{gas.name}: {gas.hydrogen_fraction:.0%} hydrogen, relative density "
        f"{gas.relative_density_ideal():.2f}: velocities and end points of natural gas do not hold. Purge "
        "through inert gas only, both ways, by the operator's procedure; air and this gas never meet in "
        "the pipe."
    )


def end_point_lines(gas: Gas, *, nitrogen_first: bool = False) -> tuple[str, ...]:
    """Return the end points that hold for a gas, as ``out:``, ``in:`` and ``entry:`` lines with their unit.

    A share of the LFL is also given in % volume of this gas; gas that the figures of natural gas do not
    hold for has those of a purge through inert gas, and so has natural gas that follows nitrogen.
    """
    on_air = natural_gas_figures_hold(gas) and not nitrogen_first
    wanted = ("any", "gas on air") if on_air else ("any", "inert gas")
    limits = gas.flammable_limits_percent()
    lower = limits[0] if limits else None
    return end_point_words([point for point in end_points() if point.medium in wanted], lower)


def _places(
    mains: ZoneMains,
    rig: PurgeEquipment,
    out: Sequence[float],
    into: Sequence[float | None],
    volumes: Sequence[float],
) -> tuple[PurgePlace, ...]:
    source = rig.source
    feed = PurgePlace(
        "feed",
        source.pipe,
        source.chainage_m,
        0,
        rig.feed_bore_m,
        note=source.note,
        outlet_m=_known(source.outlet_m),
    )
    vents = [
        PurgePlace(
            role="vent",
            pipe=leg.pipe,
            chainage_m=leg.chainage_m,
            order=k,
            bore_m=rig.stack_bores_m[k - 1],
            minutes_out=out[k - 1],
            minutes_in=into[k - 1],
            note=_vent_note(leg.meets, flow.share, mains.outlet_of(leg)),
            outlet_m=_known(mains.outlet_of(leg)),
            least_m3_per_s_std=flow.needed,
            flow_in_m3_per_s_std=flow.used,
            # Gas of a leg before would be driven into the air of the next: nitrogen fills all of them first.
            slug_m3=None if rig.reaches else nitrogen_m3(volumes[k - 1]),
        )
        for k, (leg, flow) in enumerate(zip(rig.tree.legs, rig.flows, strict=True), 1)
    ]
    return (feed, *vents)


def _known(outlet_m: float) -> float | None:
    return outlet_m if 0.0 < outlet_m < math.inf else None


def _vent_note(meets: bool, share: float, outlet_m: float) -> str:
    notes = ["gas comes from both sides of a loop and meets here"] if meets else []
    if outlet_m <= 0.0:
        notes.append("the rules list no outlet for this main: another purge point is needed")
    if share < 1.0:
        notes.append(f"only {share:.0%} of the least velocity is reached on the way here")
    return "; ".join(notes)


def nitrogen_m3(volume_m3: float) -> float:
    """Return the nitrogen that drives the air out of a length before gas follows it [m³ actual].

    Parameters
    ----------
    volume_m3 : float
        Volume of the length [m³ actual].

    Notes
    -----
    Source: purge_volumes, the upper end of its range. A slug shorter than the length is laid over by the gas
    below the least velocity as air is, so that it is made as long as the length itself, mixing counted.
    """
    return purge_figure("inert_fill_volumes") * volume_m3


def _advice(rig: PurgeEquipment, equipment: Equipment, volume_m3: float) -> tuple[str, ...]:
    if rig.reaches:
        return ()
    widest = max(rig.stack_bores_m) >= max(equipment.stack_bores_m)
    stack = "two stacks side by side" if widest else "a larger stack"
    short = (
        f"The least velocity is not reached everywhere: {rig.least_share:.0%} of it at worst, with the best "
        "feed and stack of the rules' lists, tried from every stop."
    )
    starved = (
        "Feed and stack could carry it, but the live network cannot give it while every kept meter holds "
        "its pressure: purge in hours of lower demand, or with inert gas."
    )
    mend = (
        "Do one of these: nitrogen ahead of the gas, as long a slug as the mains in the zone "
        f"({rounded_up(nitrogen_m3(volume_m3), 1):.1f} m³ in the pipe, "
        f"{purge_figure('inert_fill_volumes'):g} times their volume), through every purge point "
        f"until no air is left; a larger tapping and hose; {stack}; "
        "or gas from two stops at once. Over a shorter slug gas passes as it does over air."
    )
    return (short, starved, mend) if any(flow.starved for flow in rig.flows) else (short, mend)


def _about_tree(tree: PurgeTree) -> tuple[str, ...]:
    notes = []
    if len(tree.legs) > 1:
        notes.append(
            f"{len(tree.legs)} ends: each has its own purge point; purge them in the order listed, all other "
            "outlets shut."
        )
    if any(leg.meets for leg in tree.legs):
        notes.append(
            "The zone holds a loop: flow divides there; prove both branches at the point where they meet."
        )
    if tree.unreached:
        notes.append(
            f"{len(tree.unreached)} lengths of main lie behind a shut valve inside the zone: purge them "
            "from a feed of their own, or open the valve."
        )
    return tuple(notes)


def _cautions() -> tuple[str, ...]:
    distances = ", ".join(
        f"{feet:g} ft ({convert(feet, 'ft', 'm'):.1f} m) from {what}" for what, feet, _ in purge_distances()
    )
    return (
        f"Let out no nearer than {distances} [IFGC 2018, 406.7.1.3; the operator's distances govern].",
        *purge_cautions(),
    )
