"""A found zone with its methods, turned into a cut: stops, zones and customers of the network."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from netplan.graph.connected_components import DisjointSets
from netplan.isolation.cut_model import Cut, CutStop, CutTapping, CutZone, Stretch, ZonePiece
from netplan.isolation.cut_outline import Outline
from netplan.isolation.local_graph import LocalGraph
from netplan.isolation.segment_edges import LocalEdge
from netplan.isolation.segment_geometry import SegmentGeometry
from netplan.isolation.stop_methods import length_taken_m
from netplan.isolation.stop_placement import Choice
from netplan.isolation.tappings import tappings_of, with_tee
from netplan.isolation.valve_tappings import with_valve_tappings
from netplan.network.vocabulary import Surface
from netplan.rules.rule_set import MethodKind

__all__ = ["cut_of"]


def cut_of(local: LocalGraph, outline: Outline, laid: Sequence[CutTapping] = ()) -> Cut:
    """Return a cut with its stops, zones and customers from its outline.

    Parameters
    ----------
    local : LocalGraph
    outline : Outline
    laid : sequence of CutTapping, optional
        Tappings of stops that the cut does not have, but which are there beside it.
    """
    found, network = outline.found, local.index.network
    geometries = [local.geometry(edge, at_u) for edge, at_u, _ in found.stops]
    stops = [
        _stop(local, edge, geometry, choice)
        for geometry, (edge, _, choice) in zip(geometries, found.stops, strict=True)
    ]
    customers = outline.customers
    taken = {stop.piece for stop in stops} | {part[0] for part in outline.parts}
    stops = [with_tee(local.placement, stop, taken) for stop in stops]
    stops = with_valve_tappings(local.placement, local.work, stops, geometries, laid)
    return Cut(
        stops=tuple(sorted(stops, key=lambda stop: (stop.pipe, stop.chainage_m, stop.work_side))),
        zones=_zones(local, tuple(ZonePiece(*part) for part in outline.parts), outline.supernodes),
        customers=customers,
        severed=_severed(local, customers, set(outline.supernodes)),
        priority_customers=np.array(
            [row for row in customers.tolist() if network.customers.priority[row]], np.int32
        ),
        shut_in_stations=outline.shut_in_stations,
        stops_minor=outline.stops_minor,
        interruption_minor=outline.interruption_minor,
        gas_minor=outline.gas_minor,
        stranded_minor=outline.stranded_minor,
        bound_minor=outline.bound_minor,
        gas_volume_m3=outline.volume_m3(network.pipes.bore_m),
        found=found,
    )


def _stop(local: LocalGraph, edge: LocalEdge, geometry: SegmentGeometry, choice: Choice) -> CutStop:
    network, rules = local.index.network, local.placement.rules
    method = rules.method[choice.method]
    leg = geometry.leg_at(choice.at_m)
    pieces = network.pieces
    rising = leg.sign > 0
    zone_node, live_node = (
        (int(pieces.from_node[leg.piece]), int(pieces.to_node[leg.piece]))
        if rising
        else (int(pieces.to_node[leg.piece]), int(pieces.from_node[leg.piece]))
    )
    if geometry.starts_at_work and leg is geometry.legs[0]:
        zone_node = -1
    tappings, elsewhere = tappings_of(local.placement, geometry, choice)
    joints = _record_joints(local, geometry, choice, elsewhere)
    valve = int(pieces.valve[leg.piece])
    return CutStop(
        method=method.name,
        kind=method.kind.value,
        barriers=method.barriers,
        pipe=leg.pipe,
        chainage_m=leg.chainage_within(choice.at_m),
        piece=leg.piece,
        valve=valve,
        work_side="from" if rising else "to",
        live_node=live_node,
        zone_node=zone_node,
        tappings=tappings,
        bypass_elsewhere=elsewhere,
        price_minor=choice.price_minor,
        fault_pressure_pa_gauge=local.placement.fault_pa_gauge(leg.piece),
        chain=int(local.index.segment_chain[edge.segment]),
        reason=_reason(local, geometry, choice),
        provisional=(*_provisional(local, method.kind, leg.piece), *joints),
        record_joints=joints,
        beyond=_beyond(local, geometry, choice),
    )


def _reason(local: LocalGraph, geometry: SegmentGeometry, choice: Choice) -> str:
    network, method = local.index.network, local.placement.rules.method[choice.method]
    leg = geometry.leg_at(choice.at_m)
    if method.kind is MethodKind.VALVE:
        return f"valve {network.valves.id[int(network.pieces.valve[leg.piece])]}, state known and operable"
    surface = Surface(int(network.pipes.surface[leg.pipe])).word
    return f"cheapest place on this length that clears fittings and the work; {surface} surface"


def _provisional(local: LocalGraph, kind: MethodKind, piece: int) -> tuple[str, ...]:
    notes = []
    if local.placement.mop_stands_in(piece):
        notes.append(
            "a station records no fault pressure (max_outlet_mbar): the main's greatest operating pressure "
            "(mop_mbar) stands in for it; confirm the relief or slam-shut setting"
        )
    if kind is not MethodKind.VALVE:
        recorded = local.index.network.recorded
        notes += [
            f"{what} are not recorded: confirm by trial hole"
            for what in ("fittings", "services")
            if what not in recorded
        ]
    return tuple(notes)


def _record_joints(
    local: LocalGraph, geometry: SegmentGeometry, choice: Choice, tee_elsewhere: bool
) -> tuple[str, ...]:
    """Return a line for each joint that a stop takes for a mere boundary of records."""
    method = local.placement.rules.method[choice.method]
    if method.kind is MethodKind.VALVE:
        return ()
    extent = local.placement.extent_of(choice, geometry)
    low, high = choice.at_m + extent.near_m, choice.at_m + extent.far_m
    if not (tee_elsewhere or math.isnan(extent.bypass_m)):
        low = min(low, choice.at_m + extent.bypass_m - extent.bypass_clear_m)
        high = max(high, choice.at_m + extent.bypass_m + extent.bypass_clear_m)
    joints = local.placement.joints
    return tuple(
        f"{joints.name(joint.before, joint.after)} is taken for a record boundary: prove by trial hole"
        for joint in joints.passed(geometry, low, high)
    )


def _beyond(local: LocalGraph, geometry: SegmentGeometry, choice: Choice) -> tuple[Stretch, ...]:
    method, own = local.placement.rules.method[choice.method], geometry.leg_at(choice.at_m).pipe
    if method.kind is MethodKind.VALVE or len(geometry.legs) == 1:
        return ()
    until = choice.at_m + length_taken_m(local.placement.rules, method)
    found = []
    for leg in geometry.legs:
        low, high = max(leg.start_m, choice.at_m), min(leg.end_m, until)
        if leg.pipe != own and high > low:
            found.append(Stretch(leg.pipe, *sorted((leg.chainage(low), leg.chainage(high)))))
    return tuple(found)


def _zones(local: LocalGraph, parts: tuple[ZonePiece, ...], inside: tuple[int, ...]) -> tuple[CutZone, ...]:
    pieces = local.index.network.pieces
    groups = DisjointSets()
    for row, part in enumerate(parts):
        groups.root(("piece", row))
        if part.from_m <= float(pieces.from_m[part.piece]) + 1e-9:
            groups.join(("piece", row), int(pieces.from_node[part.piece]))
        if part.to_m >= float(pieces.to_m[part.piece]) - 1e-9:
            groups.join(("piece", row), int(pieces.to_node[part.piece]))
    members = [node for supernode in inside for node in local.index.members(supernode).tolist()]
    work: dict[object, set[int]] = {}
    for piece, stretch, which in local.work.covered:
        for row, part in enumerate(parts):
            if (
                part.piece == piece
                and part.from_m <= stretch.from_m + 1e-9
                and stretch.to_m <= part.to_m + 1e-9
            ):
                work.setdefault(groups.root(("piece", row)), set()).add(which)
    nodes: dict[object, set[int]] = {}
    for item in groups.items():
        if isinstance(item, int):
            nodes.setdefault(groups.root(item), set()).add(item)
    for node in members:
        nodes.setdefault(groups.root(node), set()).add(node)
    zones = []
    for root, parts_of in sorted(work.items(), key=lambda pair: sorted(pair[1])):
        own = tuple(part for row, part in enumerate(parts) if groups.root(("piece", row)) == root)
        zones.append(
            CutZone(tuple(sorted(parts_of)), np.array(sorted(nodes.get(root, ())), dtype=np.int32), own)
        )
    return tuple(zones)


def _severed(local: LocalGraph, customers: NDArray[np.int32], inside: set[int]) -> NDArray[np.int32]:
    index, table = local.index, local.index.network.customers
    found = []
    for row in customers[index.multi_attached[customers]].tolist():
        at = index.super_of[table.attach_node[table.attach_start[row] : table.attach_start[row + 1]]]
        if any(int(node) not in inside for node in at):
            found.append(row)
    return np.array(found, dtype=np.int32)
