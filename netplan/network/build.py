"""Building a network: from layers to the tables of the joined network."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints
from netplan.core.constants import PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.core.errors import BadNetworkError
from netplan.core.findings import Finding, Severity, errors_of
from netplan.network import model
from netplan.network.concurrency import in_background, without_garbage_collection
from netplan.network.customer_attachment import attach_customers, named_services, service_ends
from netplan.network.finding_log import FindingLog
from netplan.network.flat_geometry import Lines, shapes_of
from netplan.network.normalise import NormalisedTable
from netplan.network.normalised_layers import NormalisedLayers, PipeSizes, normalise_layers
from netplan.network.pipe_joining import PipePolylines, join_pipes, split_pipes
from netplan.network.point_placement import MainIndex, PointPlacement, notice_unknown_states, place_valves
from netplan.network.projection import WholeFrame, likely_scale, scale_at
from netplan.network.raw_layers import as_objects
from netplan.network.text_column import TextColumn
from netplan.network.tolerant_layers import mended_layers, note_all_made_up
from netplan.network.unsized_pipes import (
    give_placeholder_sizes,
    kept_live,
    may_be_set_aside,
    pipes_without_size,
    taken_as_not_live,
    unsized_pipes,
)
from netplan.network.valve_table import placed_valves
from netplan.network.vocabulary import Operable, Status, ValveState

__all__ = ["build_network"]


def build_network(
    layers: Mapping[str, Any],
    source: str = "memory",
    *,
    strict: bool = True,
    set_aside: bool = False,
    keep_pipes: bool = False,
    findings: Iterable[Finding] = (),
    frame: WholeFrame | None = None,
) -> model.Network:
    """Normalise layers, join them and return the network.

    Parameters
    ----------
    layers : mapping
        GeoDataFrames (or `raw_layers.RawLayer`) by the layer names of the input contract.
    source : str
        What they were read from, for provenance.
    strict : bool
        Refuse data with errors; otherwise leave unusable features out and keep the errors among the
        findings, so that everything wrong can be shown at once.
    set_aside : bool
        Take live pipes without a usable size as not live instead of refusing the network for them: see
        `Network.set_aside`. Only for those who prove that nothing hangs on it.
    keep_pipes : bool
        Keep every pipe that gas may flow through, without a usable size (`unsized_pipes.kept_live`) or an
        id of its own too; never strict then. For an answer that has to come.
    findings : iterable of Finding
        What was noticed while the layers were read.
    frame : WholeFrame, optional
        Working CRS and scale of the whole network, where the layers are those of a part of it.

    Raises
    ------
    BadNetworkError
        When the data has errors; the exception carries all findings.
    """
    notes = FindingLog()
    notes.extend(findings)
    if keep_pipes:
        return _with_every_pipe(layers, source, notes)
    with without_garbage_collection():
        normalised = normalise_layers(layers, notes, None if frame is None else frame.working)
        errors = errors_of(notes.sorted())
        without_size = unsized_pipes(normalised, errors) if set_aside and errors else None
        if without_size is not None:
            give_placeholder_sizes(normalised, without_size)
        elif strict:
            _refuse_errors(notes, but=filter(may_be_set_aside, errors) if set_aside else ())
            _refuse_errors(notes)
        with in_background(normalised.content_sha256) as digest:
            network = _joined(normalised, source, notes, digest, scale_at, frame)
    if without_size is not None:
        _refuse_errors(notes, but=errors)
        return taken_as_not_live(network, without_size)
    if strict:
        _refuse_errors(notes)
    return network


def _with_every_pipe(layers: Mapping[str, Any], source: str, notes: FindingLog) -> model.Network:
    with without_garbage_collection():
        normalised = normalise_layers(mended_layers(layers, notes), notes)
        note_all_made_up(normalised, notes)
        without_size = pipes_without_size(normalised)
        give_placeholder_sizes(normalised, without_size)
        with in_background(normalised.content_sha256) as digest:
            network = _joined(normalised, source, notes, digest, likely_scale)
    return kept_live(network, without_size)


def _refuse_errors(notes: FindingLog, but: Iterable[Finding] = ()) -> None:
    findings, others = notes.sorted(), set(but)
    errors = [error for error in errors_of(findings) if error not in others]
    if errors:
        more = f" (and {len(errors) - 1} more errors)" if len(errors) > 1 else ""
        raise BadNetworkError(f"{errors[0].line().removeprefix('error: ')}{more}", findings)


def _joined(
    layers: NormalisedLayers,
    source: str,
    notes: FindingLog,
    digest: Callable[[], str],
    scale_of: Any = scale_at,
    frame: WholeFrame | None = None,
) -> model.Network:
    mains, services = _live(layers, "mains"), _live(layers, "services")
    if not len(mains[0]):
        raise BadNetworkError(
            "the network has no live main that can be used; correct the mains layer", notes.sorted()
        )
    systems, course = _course(mains[0], services[0])
    scale = frame.scale if frame else scale_of(layers.working.crs, course.coords_m, notes)
    points = {name: _usable(table) for name, table in layers.points.items()}
    with in_background(lambda: named_services(points["customers"], services[0].feature_id)) as named:
        joins, index = join_pipes(course, frame.corners(systems) if frame else None), MainIndex(course)
    ends = service_ends(course, joins, services[0].feature_id, notes)
    places = {name: layers.places[name][_usable_rows(layers.points[name])] for name in points}
    station_of = _rows_of(points["sensing_points"].text["station_id"], points["regulators"].text["id"])
    system = _systems_of_points(points, station_of, systems)
    placement = PointPlacement(course, joins, index, points, places, system, notes)
    station_node = placement.nodes("regulators")
    injection_node = placement.nodes("injections")
    sensing_node = placement.nodes("sensing_points")
    customers, xy_m = points["customers"], places["customers"]
    who, at, by_what = attach_customers(
        course, joins, index, customers, xy_m, services[0].feature_id, ends, named(), notes
    )
    fitting_pipe, fitting_measure = placement.on_mains("fittings")
    valve_pipe, valve_measure = place_valves(
        course, joins, index, points["valves"].text["id"], places["valves"], system["valves"], notes
    )
    state = points["valves"].code["state"]
    notice_unknown_states(points["valves"].text["id"], state, valve_pipe, places["valves"], notes)
    nodes, pieces, lasting = split_pipes(course, joins, state, scale)
    lasting = np.concatenate([lasting, [-1]])  # so that -1, no node, stays -1
    _notice_no_station(station_node, notes)
    valves = placed_valves(
        points["valves"], pieces.valve, valve_pipe, valve_measure / scale, places["valves"]
    )
    inlets = _inlets_operable(points["regulators"], system["regulators"], valves, course.system)
    return model.Network(
        source=source,
        content_sha256=digest(),
        crs=layers.working.name,
        crs_note=layers.working.note,
        scale=scale,
        systems=systems,
        recorded=layers.recorded,
        nodes=nodes,
        pipes=_pipes(course, mains, services, scale),
        pieces=pieces,
        valves=valves,
        stations=_stations(
            points["regulators"], lasting[station_node], station_of, lasting[sensing_node], inlets
        ),
        sensing=model.SensingPoints(_int32(station_of), _int32(lasting[sensing_node])),
        injections=model.Injections(points["injections"].text["id"], _int32(lasting[injection_node])),
        customers=_customers(customers, xy_m, who, lasting[at], by_what),
        fittings=_placed_fittings(points["fittings"], fitting_pipe, fitting_measure / scale),
        keep_out=model.KeepOut(as_objects(layers.keep_out.geometry), layers.keep_out.text["reason"]),
        findings=notes.sorted(),
        base=layers.base,
        not_live=_not_live(layers.lines["mains"]),
    )


def _live(layers: NormalisedLayers, name: str) -> tuple[Lines, PipeSizes]:
    """Return the live pipes of a layer that have an id of their own and a bore, with their sizes."""
    lines, sizes = layers.lines[name], layers.sizes[name]
    good = _usable_rows(lines.table) & np.isfinite(sizes[2]) & (sizes[2] > 0)
    if good.all():
        return lines, sizes
    return lines.keep(good), (sizes[0][good], sizes[1][good], sizes[2][good])


def _usable_rows(table: NormalisedTable) -> NDArray[np.bool_]:
    good = np.ones(len(table), dtype=bool)
    if "status" in table.code:
        good &= table.code["status"] == Status.LIVE
    ids = table.id
    if ids is not None and len(ids):
        array = ids.arrow
        good &= np.asarray(pc.not_equal(array, "").to_numpy(zero_copy_only=False), dtype=bool)
        good[1:] &= np.asarray(pc.not_equal(array[1:], array[:-1]).to_numpy(zero_copy_only=False), dtype=bool)
    return good


def _usable(table: NormalisedTable) -> NormalisedTable:
    good = _usable_rows(table)
    return table if good.all() else table.take(good)


def _not_live(mains: Lines) -> TextColumn:
    return mains.table.text["id"].take(np.flatnonzero(mains.table.code["status"] != Status.LIVE))


def _course(mains: Lines, services: Lines) -> tuple[tuple[str, ...], PipePolylines]:
    names = pa.concat_arrays([mains.table.text["system"].arrow, services.table.text["system"].arrow])
    systems = tuple(sorted(pc.unique(names).to_pylist()))
    coords = np.concatenate([mains.coords_m, services.coords_m])
    start = np.concatenate([mains.start, services.start[1:] + mains.start[-1]])
    return systems, PipePolylines(
        coords,
        np.concatenate([mains.height_m, services.height_m]),
        start,
        shapes_of(coords[: mains.start[-1]], mains.start),
        np.concatenate([mains.length_m, services.length_m]),
        _system_codes(TextColumn(names), systems),
        len(mains),
    )


def _system_codes(names: TextColumn, systems: tuple[str, ...]) -> NDArray[np.int16]:
    code = pc.fill_null(pc.index_in(names.arrow, value_set=pa.array(systems, pa.string())), -1)
    return np.asarray(code.to_numpy(zero_copy_only=False)).astype(np.int16)


def _rows_of(names: TextColumn, ids: TextColumn) -> Ints:
    row = pc.fill_null(pc.index_in(names.arrow, value_set=ids.arrow), -1)
    return np.asarray(row.to_numpy(zero_copy_only=False)).astype(np.int64)


def _systems_of_points(
    points: Mapping[str, NormalisedTable], station_of: Ints, systems: tuple[str, ...]
) -> dict[str, NDArray[np.int16]]:
    """Return the system of each feature by layer; a sensing point has that of its station, -1 for none."""
    layers = ("regulators", "injections", "fittings", "valves")
    codes = {name: _system_codes(points[name].text["system"], systems) for name in layers}
    padded = np.concatenate([codes["regulators"], np.array([-1], dtype=np.int16)])
    codes["sensing_points"] = padded[station_of]
    return codes


def _notice_no_station(station_node: Ints, notes: FindingLog) -> None:
    if (station_node >= 0).any():
        return
    what = "no live regulator station lies on a main, so nothing feeds the network"
    mend = "add the stations to the regulators layer, on their mains"
    if any(finding.code == "part-of-network" for finding in notes.sorted()):
        what = "the area that was read (--within) holds no live regulator station, so nothing feeds it"
        mend = "make it larger to include the stations that feed the work, or read the whole network"
    notes.add("no-station", "regulators", "", Severity.ERROR, what, mend)


def _pipes(
    course: PipePolylines, mains: tuple[Lines, PipeSizes], services: tuple[Lines, PipeSizes], scale: float
) -> model.Pipes:
    tables = (mains[0].table, services[0].table)
    count = [len(table) for table in tables]

    def number(name: str) -> Floats:
        return np.concatenate(
            [t.number.get(name, np.full(k, np.nan)) for t, k in zip(tables, count, strict=True)]
        )

    def code(name: str) -> NDArray[np.uint8]:
        return np.concatenate(
            [t.code.get(name, np.zeros(k, np.uint8)) for t, k in zip(tables, count, strict=True)]
        )

    def text(name: str) -> TextColumn:
        parts = [
            t.text[name].arrow if name in t.text else pa.repeat(pa.scalar(""), k)
            for t, k in zip(tables, count, strict=True)
        ]
        return TextColumn(pa.concat_arrays(parts))

    od, wall, bore = (np.concatenate(pair) for pair in zip(mains[1], services[1], strict=True))
    return model.Pipes(
        id=text("id"),
        n_mains=course.n_mains,
        material=code("material"),
        od_m=od,
        wall_m=wall,
        bore_m=bore,
        sdr=number("sdr"),
        mop_pa_gauge=number("mop_mbar") * PA_PER_MBAR,
        system=course.system,
        surface=code("surface"),
        joint=code("joint"),
        host=code("host"),
        excess_flow_valve=code("excess_flow_valve"),
        year=number("year"),
        depth_m=number("depth_m"),
        resin=text("resin"),
        street=text("street"),
        record_date=text("record_date"),
        length_m=course.length_m / scale,
        coords_m=course.coords_m,
        coord_start=course.start,
    )


def _inlets_operable(
    table: NormalisedTable, system: NDArray[np.int16], valves: model.Valves, system_of_pipe: NDArray[np.int16]
) -> NDArray[np.bool_]:
    """Return whether each station names an inlet valve that can be worked, and is none of its outlet side.

    A valve on a pipe of the system that the station feeds may be its outlet valve: it never counts.
    """
    named = table.text["inlet_valve"]
    row = _rows_of(named, valves.id)
    found = np.asarray((row >= 0) & (named.numpy() != ""), dtype=bool)
    at = np.where(found, row, 0)
    if not found.any():
        return found
    pipe = valves.pipe[at]
    is_outlet_side = (pipe >= 0) & (system_of_pipe[pipe] == system)
    works = (valves.operable[at] == Operable.YES) & (valves.state[at] != ValveState.UNKNOWN)
    return np.asarray(found & works & ~is_outlet_side, dtype=bool)


def _stations(
    table: NormalisedTable,
    node: Ints,
    station_of: Ints,
    sensing_node: Ints,
    inlet_is_operable: NDArray[np.bool_],
) -> model.Stations:
    sensing = np.full(len(table), -1, dtype=np.int32)
    known = (station_of >= 0) & (sensing_node >= 0)
    sensing[station_of[known][::-1]] = sensing_node[known][::-1]
    return model.Stations(
        table.text["id"],
        _int32(node),
        table.number["outlet_mbar"] * PA_PER_MBAR,
        table.number["max_outlet_mbar"] * PA_PER_MBAR,
        table.number["capacity_m3h"] / SECONDS_PER_HOUR,
        sensing,
        table.text["inlet_valve"],
        inlet_is_operable,
        table.code["vent_between"],
    )


def _customers(
    table: NormalisedTable, xy_m: Floats, who: Ints, node: Ints, by_what: NDArray[np.uint8]
) -> model.Customers:
    n = len(table)
    text, number, code = table.text, table.number, table.code
    start = np.concatenate([[0], np.cumsum(np.bincount(who, minlength=n))])
    meters = np.clip(np.nan_to_num(number["meters"], nan=1.0), 0, 1e6)
    return model.Customers(
        id=text["id"],
        address=text["address"],
        street=text["street"],
        number=text["number"],
        postcode=text["postcode"],
        town=text["town"],
        category=code["category"],
        priority=text["priority"],
        priority_note=text["priority_note"],
        telephone=text["telephone"],
        meters=meters.astype(np.int32),
        annual_kwh=number["annual_kwh"],
        peak_kw=number["peak_kw"],
        service_regulator=code["service_regulator"],
        language=text["language"],
        x_m=xy_m[:, 0],
        y_m=xy_m[:, 1],
        attach_start=_int32(start),
        attach_node=_int32(node),
        attached_by=by_what,
    )


def _placed_fittings(table: NormalisedTable, pipe: Ints, chainage_m: Floats) -> model.Fittings:
    order = np.lexsort([np.arange(len(pipe)), chainage_m, pipe])
    return model.Fittings(
        table.text["id"].take(order), table.code["kind"][order], _int32(pipe[order]), chainage_m[order]
    )


def _int32(values: NDArray[Any]) -> NDArray[np.int32]:
    return values.astype(np.int32)
