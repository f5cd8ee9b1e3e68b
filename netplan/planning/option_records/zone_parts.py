"""Lengths of pipe with one pressure of their own: zones, what the cut parts them into, spaces and tails."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from netplan.network.work_section import WorkSection
from netplan.planfile import model
from netplan.planfile.naming import stop_id
from netplan.planfile.station_words import is_inlet_barrier
from netplan.planning.option_records.option_state import StateSource
from netplan.planning.zone_lengths import (
    SAME_M,
    ZoneComponent,
    ZoneLength,
    cut_components,
    volume_m3,
    zone_lengths,
)
from netplan.procedure import with_order_items

__all__ = ["parts_of", "with_parts", "zone_gauges_of"]


def with_parts(source: StateSource, section: WorkSection) -> model.Option:
    """Return the option of a source with its items, and with its parts and zone gauges among them.

    Parameters
    ----------
    source : StateSource
    section : WorkSection
        The lengths that are cut out.
    """
    # Which tapping vents a part is told by the items; the parts become items themselves.
    tapped = replace(source, option=with_order_items(source.option))
    parts = parts_of(tapped, section)
    gauges = zone_gauges_of(tapped, parts)
    return with_order_items(
        tapped.option.model_copy(update={"items": (), "parts": parts, "zone_gauges": gauges})
    )


def parts_of(source: StateSource, section: WorkSection) -> tuple[model.ZonePart, ...]:
    """Return the parts of an option: its zones, their cut parts, the spaces between barriers, and tails.

    Parameters
    ----------
    source : StateSource
        Its option as it stands in the plan, with items.
    section : WorkSection
        The lengths that are cut out.

    Notes
    -----
    A service on the work section itself is open at the cut: it is listed with its zone and in no cut part.
    """
    network = source.context.request.network
    lengths = zone_lengths(network, source.final.stopped, source.priced.cut)
    found: list[model.ZonePart] = []
    for zone in range(len(source.option.zones)):
        own = [one for one in lengths if one.zone == zone]
        found.append(_part(source, f"Z{zone + 1}", "zone", zone, own))
        found += [
            _part(source, f"Z{zone + 1}.{number}", "cut part", zone, component.lengths)
            for number, component in enumerate(cut_components(network.pipes.n_mains, own, section), 1)
        ]
    found += _spaces(source, found)
    found += _tails(source)
    return tuple(found)


def zone_gauges_of(source: StateSource, parts: Sequence[model.ZonePart]) -> tuple[model.ZoneGauge, ...]:
    """Return the gauge of every zone, at the zone vent of its last stop.

    Parameters
    ----------
    source : StateSource
    parts : sequence of model.ZonePart
        As `parts_of` returns them.
    """
    found = []
    for part in parts:
        if part.role != "zone":
            continue
        at = [
            (tapping, stop)
            for stop in source.option.stops
            if stop.id in part.stops
            for tapping in stop.tappings
            if tapping.role == "zone_vent"
        ]
        if at:
            tapping, stop = at[-1]
            found.append(
                model.ZoneGauge(
                    id=f"{part.id}-gauge",
                    part_id=part.id,
                    tapping_id=_tapping_id(source.option, stop.id, "zone_vent"),
                    main_id=tapping.main_id or stop.main_id,
                    chainage_m=tapping.chainage_m,
                )
            )
    return tuple(found)


def _part(
    source: StateSource, ident: str, role: str, zone: int, lengths: Sequence[ZoneLength]
) -> model.ZonePart:
    """Return a part of a zone with the stops at its ends, its vents, ends of branches, pipes and volume."""
    network, cut = source.context.request.network, source.priced.cut
    n_mains = network.pipes.n_mains
    component = ZoneComponent(list(lengths))
    stops = [row for row in range(len(cut.stops)) if component.has_end(("stop", row))]
    option = source.option
    points = [
        point
        for point in option.purge.points
        if component.holds(network.pipes.id.find(point.main_id, 0, n_mains), point.chainage_m)
    ]
    vents = [_tapping_id(option, stop_id(row), "zone_vent") for row in stops]
    vents += [_tapping_id(option, point.id, "purge") for point in points]
    return model.ZonePart.model_validate(
        {
            "id": ident,
            "role": role,
            "zone": zone,
            "stops": tuple(stop_id(row) for row in stops),
            "vents": tuple(dict.fromkeys(vent for vent in vents if vent)),
            "ends": tuple(_branch_ends(source, lengths, points)),
            "mains": _ids(source, (one.pipe for one in lengths if one.pipe < n_mains)),
            "services": _ids(source, (one.pipe for one in lengths if one.pipe >= n_mains)),
            "volume_m3": volume_m3(network, lengths),
        }
    )


def _branch_ends(
    source: StateSource, lengths: Sequence[ZoneLength], points: Sequence[model.PurgePoint]
) -> Iterator[model.BranchEnd]:
    """Yield the ends of mains that are at no stop and at no cut, each with the purge point that is there."""
    ids, n_mains = source.context.request.network.pipes.id, source.context.request.network.pipes.n_mains
    mains = [one for one in lengths if one.pipe < n_mains]
    degree = Counter(end for one in mains for end in one.ends)
    for one in mains:
        for end, chainage in zip(one.ends, (one.from_m, one.to_m), strict=True):
            if end[0] == "node" and degree[end] == 1:
                main = ids[one.pipe]
                yield model.BranchEnd(
                    main_id=main,
                    chainage_m=chainage,
                    purge_point=next((p.id for p in points if _is_at(p, main, chainage)), ""),
                )


def _is_at(point: model.PurgePoint, main_id: str, chainage_m: float) -> bool:
    return point.main_id == main_id and abs(point.chainage_m - chainage_m) <= SAME_M


def _ids(source: StateSource, rows: Iterable[int]) -> tuple[str, ...]:
    ids = source.context.request.network.pipes.id
    return tuple(ids[row] for row in sorted(set(rows)))


def _tapping_id(option: model.Option, of: str, role: str) -> str:
    """Return the id of the tapping of a stop or purge point; a purge point at a stop has that stop's."""
    for item in option.items:
        if item.kind == "tapping" and item.of == of and item.role == role:
            return item.id
    for item in option.items:
        if item.kind == "vent" and item.id == of:
            return item.tapping_id
    for stop in option.stops:
        if stop.id == of:
            return next((one.id for one in stop.tappings if one.role == role), "")
    return ""


def _spaces(source: StateSource, parts: Sequence[model.ZonePart]) -> Iterator[model.ZonePart]:
    """Yield the space between the two barriers of every double stop, and behind a station's inlet."""
    for row, stop in enumerate(source.option.stops):
        bore = float(source.context.request.network.pipes.bore_m[source.priced.cut.stops[row].pipe])
        barriers = [one.away_from(stop) for one in stop.tappings if one.role == "barrier"]
        if not (is_inlet_barrier(stop) if stop.kind == "valve" else stop.barriers == 2):
            continue
        length = max(barriers) - min(barriers) if len(barriers) > 1 else None
        vent = _tapping_id(source.option, stop.id, "vent")
        yield model.ZonePart(
            id=f"{stop.id}-space",
            role="space",
            zone=next((part.zone for part in parts if stop.id in part.stops), -1),
            stops=(stop.id,),
            vents=(vent,) if vent else (),
            mains=(stop.main_id,),
            volume_m3=None if length is None else length * math.pi / 4.0 * bore**2,
        )


def _tails(source: StateSource) -> Iterator[model.ZonePart]:
    """Yield the parts beyond the zones that no station feeds once the stops are in."""
    priced, context = source.priced, source.context
    pipes, pieces = context.request.network.pipes, context.request.network.pieces
    for part, feed in zip(priced.deficient, source.feed_ids, strict=True):
        if part.weak:
            continue
        nodes = part.nodes
        rows = np.flatnonzero(~priced.reach.closed & nodes[pieces.from_node] & nodes[pieces.to_node]).tolist()
        stops = tuple(stop_id(row) for row, stop in enumerate(priced.cut.stops) if nodes[stop.live_node])
        of_pipe = [int(pieces.pipe[row]) for row in rows]
        yield model.ZonePart(
            id=f"tail-{feed or '-'.join(stops) or part.label.split()[-1]}",
            role="tail",
            zone=-1,
            stops=stops,
            mains=_ids(source, (pipe for pipe in of_pipe if pipe < pipes.n_mains)),
            services=_ids(source, (pipe for pipe in of_pipe if pipe >= pipes.n_mains)),
            volume_m3=sum(
                float(pieces.to_m[row] - pieces.from_m[row]) * math.pi / 4.0 * float(pipes.bore_m[pipe]) ** 2
                for row, pipe in zip(rows, of_pipe, strict=True)
            ),
        )
