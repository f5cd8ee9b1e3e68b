"""What a gauge reads on the length of main that gas for a purge is drawn from."""

from __future__ import annotations

import math

from netplan.hydraulics import FlowConditions, FlowState
from netplan.planning.option_records.gauge_places import SAME_M, GaugePlace, PipePlaces
from netplan.planning.tapped_draw import LinkDraw
from netplan.planning.work_states import StateChanges

__all__ = ["pressure_beside_draw"]


def pressure_beside_draw(
    place: GaugePlace,
    solved_pa: float,
    state: FlowState,
    changes: StateChanges,
    places: PipePlaces,
    conditions: FlowConditions,
) -> float:
    """Return what a gauge reads with the draw taken at its tapping [Pa gauge]; NaN without gas.

    On an open link the flow differs on each side of the tapping. A link is closed in the model where a stop
    without a node of its own is on it: there the draw comes from the node to the tapping and goes no further.
    A gauge on any other link reads what is solved.

    Parameters
    ----------
    place : GaugePlace
    solved_pa : float
        Pressure at the gauge as if nothing were drawn between the nodes [Pa gauge].
    state : FlowState
        Solved with the draw.
    changes : StateChanges
        What the state changes: the draw, where it is taken, and closed links.
    places : PipePlaces
        Lengths of pipe of the network that the state was solved in.
    conditions : FlowConditions
        Gas, ground temperature, air pressure.
    """
    draw, at = changes.draw, changes.drawn_at
    if draw is None or at is None or place.customer or place.pipe != places.pipe[at.link]:
        return solved_pa
    row, air = at.link, places.air_pa_abs
    low, high = float(places.from_m[row]), float(places.to_m[row])
    if math.isnan(solved_pa) or not low - SAME_M <= place.chainage_m <= high + SAME_M:
        return solved_pa
    tapped = LinkDraw(places.links, at, draw.flow_m3_per_s_std, conditions)
    gauged = min(max((place.chainage_m - low) / (high - low), 0.0), 1.0)
    first, second = (int(node) for node in places.ends[:, row])
    if row in changes.closed:
        if place.node != draw.node:
            return solved_pa  # beyond the work: that of another stop on the same length
        along = min(gauged, at.share) if first == draw.node else 1.0 - max(gauged, at.share)
        lost = along * tapped.drop_pa2(tapped.draw_kg_per_s)
        return math.sqrt((solved_pa + air) ** 2 - lost) - air
    before = tapped.before(float(state.flow_kg_per_s[row]))
    if gauged <= at.share:
        node, lost = first, gauged * tapped.drop_pa2(before)
    else:
        node, lost = second, -(1.0 - gauged) * tapped.drop_pa2(before - tapped.draw_kg_per_s)
    return math.sqrt((float(state.pressure_pa_gauge[node]) + air) ** 2 - lost) - air
