"""Vents of the parts that a zone falls into at the cut and that no stop and no end of a main vents."""

from __future__ import annotations

from collections.abc import Sequence

from netplan.core.constants import MM_PER_M
from netplan.gas import PurgePlace
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.excavations_of_cut import excavations_of_cut
from netplan.planning.final_network import FinalNetwork
from netplan.planning.zone_lengths import SAME_M, ZoneComponent, cut_components, zone_lengths
from netplan.rules.outlets_by_diameter import outlet_at

__all__ = ["vents_of_cut_parts"]


def vents_of_cut_parts(
    context: PlanningContext, option: EvaluatedOption, final: FinalNetwork, places: Sequence[PurgePlace]
) -> list[PurgePlace]:
    """Return a place to vent each cut part that has neither a stop nor a place to purge.

    It is beside the cut, in the excavation of the work, whose price pays for it.

    Parameters
    ----------
    context : PlanningContext
    option : EvaluatedOption
    final : FinalNetwork
        The option's final network.
    places : sequence of PurgePlace
        Where the zones are purged.
    """
    network = context.request.network
    section = excavations_of_cut(context, option.cut).section
    lengths = zone_lengths(network, final.stopped, option.cut)
    found = []
    for zone in range(len(option.cut.zones)):
        own = [one for one in lengths if one.zone == zone]
        for component in cut_components(network.pipes.n_mains, own, section):
            has_stop = any(component.has_end(("stop", row)) for row in range(len(option.cut.stops)))
            if not has_stop and not any(component.holds(p.pipe, p.chainage_m) for p in places):
                found.append(_beside_the_cut(context, component))
    return found


def _beside_the_cut(context: PlanningContext, component: ZoneComponent) -> PurgePlace:
    """Return a place as far from a cut end as a first tapping must be, within the excavation there."""
    rules, pipes = context.request.rules, context.request.network.pipes
    away_m = min(rules.clearance.work_m, 2.0 * rules.excavation.margin_m)
    one = max(
        (
            one
            for one in component.lengths
            if one.pipe < pipes.n_mains and one.to_m - one.from_m > SAME_M and "cut" in _kinds(one.ends)
        ),
        key=lambda one: (one.to_m - one.from_m, -one.pipe, -one.from_m),
    )
    away_m = min(away_m, (one.to_m - one.from_m) / 2.0)
    chainage = one.from_m + away_m if one.ends[0][0] == "cut" else one.to_m - away_m
    outlet = outlet_at(rules, float(pipes.od_m[one.pipe]) * MM_PER_M)
    return PurgePlace(
        role="cut part",
        pipe=one.pipe,
        chainage_m=chainage,
        order=0,
        bore_m=None,
        outlet_m=None if outlet is None else outlet.zone_vent_mm / MM_PER_M,
        note="vents the part between two cuts from the cut until gas goes back",
    )


def _kinds(ends: tuple[tuple[str, int], ...]) -> set[str]:
    return {kind for kind, _ in ends}
