"""Every finding, planted once: it is told with its place, and sound data has none of them."""

from __future__ import annotations

import ast
import csv
import json
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
import shapely
from shapely.geometry import GeometryCollection, MultiLineString, Point

import netplan
from netplan.cli.sample import sample_network
from netplan.core.findings import Finding, Severity
from netplan.network.checks.survey import Survey, survey
from netplan.network.contract import WORD_OF, layer_specs
from netplan.network.raw_layers import RawLayer, as_raw
from netplan.outputs.findings_files import findings_json, findings_layer
from netplan.readers import read_layers
from tests.support.networks import (
    EAST_M,
    NORTH_M,
    customer,
    fitting,
    injection,
    keep_out,
    layers,
    line,
    main,
    sensing_point,
    service,
    station,
    valve,
)

Rows = dict[str, Any]
Raw = dict[str, RawLayer]
Plant = Callable[[Rows], None]


def sound() -> Rows:
    return {
        "mains": [
            main("M1", (0, 0), (100, 0), street="High Row", mop_mbar=75, host="none", joint="fusion"),
            main("M2", (100, 0), (200, 0), street="High Row", mop_mbar=75, status="live", surface="verge"),
            main("M3", (50, 0), (50, 80), street="Low Row", mop_mbar=75),
        ],
        "services": [
            service("S1", (20, 0), (20, 8), excess_flow_valve="no"),
            service("S2", (50, 60), (58, 60)),
        ],
        "customers": [
            customer("C1", (20, 8), service_id="S1", category="household", service_regulator="no"),
            customer("C2", (58, 60), service_id="S2"),
        ],
        "regulators": [station("R1", (0, 0), capacity_m3h=800)],
        "sensing_points": [sensing_point("R1", (60, 0))],
        "valves": [valve("V1", (120, 0))],
        "fittings": [fitting("F1", (150, 0))],
        "injections": [injection("I1", (200, 0))],
        "keep_out": [keep_out("river", (5, 5), (9, 5), (9, 9))],
    }


def seen(rows: Rows) -> Survey:
    return survey({name: as_raw(name, frame) for name, frame in layers(**rows).items()})


def put(layer: str, row: dict[str, Any]) -> Plant:
    """Plant a row in place of the one with its id, or besides."""

    def plant(rows: Rows) -> None:
        kept = [other for other in rows[layer] if other.get("id") != row.get("id") or "id" not in row]
        rows[layer] = [*kept, row]

    return plant


def add(layer: str, row: dict[str, Any]) -> Plant:
    return lambda rows: rows[layer].append(row)


def value(layer: str, column: str, what: Any) -> Plant:
    """Plant a value in the first row of a layer."""
    return lambda rows: rows[layer][0].update({column: what})


def without(layer: str) -> Plant:
    return lambda rows: rows.update({layer: []})


def _dead_end(rows: Rows) -> None:
    rows["valves"] = [valve("V1", (50, 30), "closed")]


def _two_fed_areas(rows: Rows) -> None:
    rows["valves"] = [valve("V1", (120, 0), "closed")]
    rows["regulators"].append(station("R2", (200, 0), capacity_m3h=500))
    rows["sensing_points"].append(sensing_point("R2", (200, 0)))


def _swapped_services(rows: Rows) -> None:
    rows["customers"][0]["service_id"], rows["customers"][1]["service_id"] = "S2", "S1"


def _between_services(rows: Rows) -> None:
    rows["services"].append(service("S3", (23, 0), (23, 8)))
    rows["customers"].append(customer("C3", (21.4, 8)))


def _no_services(rows: Rows) -> None:
    rows["services"] = []
    rows["customers"] = [customer("C1", (25, 25))]


def _crossing_service(rows: Rows) -> None:
    rows["mains"].append(main("M4", (150, -20), (150, 20)))
    rows["services"].append(service("S3", (150, 0), (155, 5)))
    rows["customers"].append(customer("C3", (155, 5), service_id="S3"))


def _in_parts(rows: Rows) -> None:
    parts = MultiLineString([line((70, 0), (70, 9)), line((75, 0), (75, 9))])
    rows["services"].append({**service("S3", (0, 0), (1, 1)), "geometry": parts})


def _all(layer: str, column: str, what: Any) -> Plant:
    """Plant a value in every row of a layer."""

    def plant(rows: Rows) -> None:
        for row in rows[layer]:
            row.update({column: what})

    return plant


def _street(rows: Rows, *, column: str = "", what: Any = None, length: float = 8.0) -> None:
    """Put twenty-four more houses on the first street, with a value in each customer."""
    for k in range(24):
        x = 1.0 + 4 * k
        rows["services"].append(service(f"T{k}", (x, 0), (x, length)))
        row = customer(f"H{k}", (x, length), service_id=f"T{k}")
        rows["customers"].append(row | ({column: what} if column else {}))


def _houses(column: str, what: Any) -> Plant:
    return lambda rows: _street(rows, column=column, what=what)


def _stranger(rows: Rows) -> None:
    """Put a house of another street among those of the first one; two more of its street stand far away."""
    _street(rows, column="street", what="Low Row")
    rows["customers"][-1]["street"] = "High Row"
    rows["customers"] += [customer(f"K{k}", (50.0, 300.0 + 9 * k), street="High Row") for k in range(2)]


def _inlet_valve(rows: Rows) -> None:
    """Let the station name a valve on its feed of medium pressure; nothing is said of a vent between."""
    rows["mains"].append(main("MP1", (-60, -20), (0, -1), system="MP"))
    rows["valves"].append(valve("VI", (-30, -10.5), system="MP", operable="yes"))
    rows["regulators"][0]["inlet_valve"] = "VI"


COLLECTION = GeometryCollection([Point(EAST_M, NORTH_M), line((0, 0), (1, 1))])
FAR = (float("inf"), float("inf"))

# code, layer, feature, plant; a place is asked of all that name a feature which has one.
PLANTED: list[tuple[str, str, str, Plant]] = [
    ("boundary-valve", "valves", "V1", _two_fed_areas),
    ("closed-valve-cuts-off", "valves", "V1", _dead_end),
    ("dead-customer", "customers", "C2", _dead_end),
    ("computed-wall", "mains", "M2", put("mains", main("M2", (100, 0), (200, 0), od_mm=111.0))),
    ("crossing", "mains", "M2", add("mains", main("M4", (150, -20), (150, 20)))),
    ("customer-on-no-pipe", "customers", "C3", add("customers", customer("C3", (300, 300)))),
    ("double-customer", "customers", "C9", add("customers", {**customer("C1", (20, 8)), "id": "C9"})),
    ("duplicate-id", "mains", "M2", add("mains", main("M2", (200, 0), (260, 0)))),
    ("far-from-service", "customers", "C3", add("customers", customer("C3", (20, 100), service_id="S1"))),
    ("far-off", "mains", "M4", add("mains", main("M4", (900_000, 0), (900_100, 0)))),
    ("far-off", "customers", "C3", add("customers", customer("C3", (900_000, 0)))),
    ("fitting-on-no-main", "fittings", "F2", add("fittings", fitting("F2", (150, 9)))),
    ("fault-pressure-above-mop", "mains", "M1", value("mains", "mop_mbar", 45)),
    ("priority-none", "customers", "", value("customers", "priority", "No")),
    ("priority-spelling", "customers", "", value("customers", "priority", "Care home")),
    ("unknown-priority", "customers", "", value("customers", "priority", "castle")),
    ("note-without-priority", "customers", "", value("customers", "priority_note", "a dog")),
    ("address-disagrees", "customers", "", value("customers", "street", "Nowhere Row")),
    ("address-among-others", "customers", "H23", _stranger),
    ("improbable-meters", "customers", "", _houses("meters", 17)),
    ("pressure-above-mop", "mains", "M1", value("mains", "mop_mbar", 25)),
    ("inlet-valve-not-usable", "regulators", "R1", value("regulators", "inlet_valve", "V99")),
    ("no-vent-between", "regulators", "R1", _inlet_valve),
    ("impossible-outlet", "regulators", "R1", value("regulators", "outlet_mbar", 2e6)),
    ("impossible-sdr", "mains", "M1", value("mains", "sdr", 3.0)),
    ("impossible-sdr", "services", "S1", value("services", "sdr", 90.0)),
    ("impossible-size", "mains", "M1", value("mains", "od_mm", 11_000.0)),
    ("improbable-use", "customers", "", _houses("annual_kwh", 512.0)),
    ("improbable-peak", "customers", "", _houses("peak_kw", 80_000.0)),
    ("improbable-outlet", "regulators", "", value("regulators", "outlet_mbar", 11.0)),
    ("improbable-fault-pressure", "regulators", "", value("regulators", "max_outlet_mbar", 2.0)),
    ("improbable-capacity", "regulators", "", value("regulators", "capacity_m3h", 400_000.0)),
    ("improbable-diameter", "mains", "", _all("mains", "od_mm", 12.75)),
    ("improbable-diameter", "services", "", _all("services", "od_mm", 1.05)),
    ("improbable-wall", "mains", "", _all("mains", "wall_mm", 0.39)),
    ("improbable-wall", "services", "", _all("services", "wall_mm", 0.1)),
    ("improbable-bore", "mains", "", _all("mains", "bore_mm", 4.0)),
    ("improbable-bore", "services", "", _all("services", "bore_mm", 1.0)),
    ("improbable-mop", "mains", "", _all("mains", "mop_mbar", 0.1)),
    ("improbable-depth", "mains", "", _all("mains", "depth_m", 3.0)),
    ("improbable-length", "services", "", lambda rows: _street(rows, length=0.3)),
    ("improbable-year", "mains", "", value("mains", "year", 1900)),
    ("date-for-year", "mains", "", value("mains", "year", 19_870_312)),
    ("date-for-year", "mains", "", value("mains", "year", "12.03.1987")),
    ("injection-on-no-main", "injections", "I2", add("injections", injection("I2", (300, 300)))),
    ("large-household", "customers", "C1", value("customers", "annual_kwh", 400_000.0)),
    ("missing-address", "customers", "C1", value("customers", "address", "")),
    ("missing-id", "mains", "row 1", value("mains", "id", "")),
    ("missing-kind", "fittings", "F1", value("fittings", "kind", "")),
    ("missing-material", "mains", "M1", value("mains", "material", "")),
    ("missing-outlet", "regulators", "R1", value("regulators", "outlet_mbar", None)),
    ("missing-reason", "keep_out", "row 1", value("keep_out", "reason", "")),
    ("missing-size", "mains", "M1", value("mains", "od_mm", None)),
    ("missing-size", "services", "S1", value("services", "sdr", None)),
    ("missing-state", "valves", "V1", value("valves", "state", "")),
    ("missing-station-id", "sensing_points", "row 1", value("sensing_points", "station_id", "")),
    ("near-miss", "mains", "M4", add("mains", main("M4", (200, 1), (300, 1)))),
    ("near-miss", "services", "S3", add("services", service("S3", (70, 1.2), (70, 9)))),
    ("nearer-service", "customers", "C1", _swapped_services),
    ("no-demand", "customers", "C1", value("customers", "annual_kwh", None)),
    ("no-fault-pressure", "regulators", "R1", value("regulators", "max_outlet_mbar", None)),
    ("no-geometry", "mains", "M4", add("mains", {**main("M4", (0, 0), (1, 1)), "geometry": None})),
    ("no-place", "valves", "V2", add("valves", {**valve("V2", (0, 0)), "geometry": None})),
    ("no-sensing-point", "regulators", "R2", add("regulators", station("R2", (100, 0), capacity_m3h=9))),
    ("no-sensing-points", "sensing_points", "", without("sensing_points")),
    ("no-station", "regulators", "", without("regulators")),
    ("not-a-number", "mains", "M1", value("mains", "year", "long ago")),
    ("not-a-number", "mains", "M1", value("mains", "od_mm", np.inf)),
    ("odd-capacity", "regulators", "R1", value("regulators", "capacity_m3h", 0.0)),
    ("odd-coordinates", "mains", "M4", add("mains", main("M4", (200, 0), (1e12, 0)))),
    ("odd-coordinates", "mains", "M4", add("mains", main("M4", (200, 0), FAR))),
    ("odd-demand", "customers", "C1", value("customers", "annual_kwh", -4.0)),
    ("odd-demand", "customers", "C1", value("customers", "annual_kwh", 1e12)),
    ("odd-depth", "mains", "M1", value("mains", "depth_m", 90.0)),
    ("odd-fault-pressure", "regulators", "R1", value("regulators", "max_outlet_mbar", 9.0)),
    ("odd-height", "mains", "M2", put("mains", main("M2", (100, 0, 30.0), (200, 0, 430.0)))),
    ("odd-height", "mains", "M2", put("mains", main("M2", (100, 0, 9000.0), (200, 0, 9000.0)))),
    ("odd-id", "mains", "M:4", add("mains", main("M:4", (200, 0), (260, 0)))),
    ("odd-id", "mains", "row 1", add("mains", main("M\x07", (200, 0), (260, 0)))),
    ("odd-year", "mains", "M1", value("mains", "year", 198)),
    ("on-top", "mains", "M4", add("mains", main("M4", (100, 0), (0, 0)))),
    ("on-top", "services", "S3", add("services", service("S3", (50.02, 60), (58, 60.02)))),
    ("overlap", "mains", "M4", add("mains", main("M4", (140, 0), (200, 0), (240, 0)))),
    ("part-without-station", "mains", "M4", add("mains", main("M4", (200, 3), (300, 3)))),
    ("regulator-on-no-main", "regulators", "R2", add("regulators", station("R2", (300, 300)))),
    ("same-place", "valves", "V2", add("valves", valve("V2", (120, 0)))),
    ("same-place", "fittings", "F2", add("fittings", fitting("F2", (150, 0)))),
    ("same-place", "regulators", "R2", add("regulators", station("R2", (0, 0)))),
    ("sdr-not-pe", "mains", "M1", value("mains", "material", "steel")),
    ("self-crossing", "mains", "M4", add("mains", main("M4", (200, 0), (260, 0), (230, 20), (230, -20)))),
    ("sensing-point-on-no-main", "sensing_points", "R1", add("sensing_points", sensing_point("R1", (9, 90)))),
    (
        "sensing-without-station",
        "sensing_points",
        "row 2",
        add("sensing_points", sensing_point("RX", (9, 0))),
    ),
    ("service-between-mains", "services", "S3", add("services", service("S3", (50, 20), (50, 40)))),
    ("service-on-crossing", "services", "S3", _crossing_service),
    ("service-on-no-main", "services", "S3", add("services", service("S3", (70, 10), (70, 19)))),
    ("service-without-customer", "services", "S3", add("services", service("S3", (70, 0), (70, 9)))),
    ("services-touch", "services", "S3", add("services", service("S3", (20, 8), (30, 8)))),
    ("size-jump", "mains", "M1", put("mains", main("M2", (100, 0), (200, 0), street="High Row", od_mm=315))),
    ("split-line", "services", "S3", _in_parts),
    ("two-mains", "customers", "C1", _no_services),
    ("two-services", "customers", "C3", _between_services),
    ("unknown-category", "customers", "C1", value("customers", "category", "castle")),
    ("unknown-excess_flow_valve", "services", "S1", value("services", "excess_flow_valve", "maybe")),
    ("unknown-host", "mains", "M1", value("mains", "host", "castle")),
    ("unknown-joint", "mains", "M1", value("mains", "joint", "glue")),
    ("unknown-kind", "fittings", "F1", value("fittings", "kind", "thing")),
    ("unknown-material", "mains", "M1", value("mains", "material", "wood")),
    ("unknown-operable", "valves", "V1", value("valves", "operable", "rusty")),
    ("unknown-service", "customers", "C1", value("customers", "service_id", "S7")),
    ("unknown-service_regulator", "customers", "C1", value("customers", "service_regulator", "maybe")),
    ("unknown-state", "valves", "V1", value("valves", "state", "stuck")),
    ("unknown-status", "mains", "M1", value("mains", "status", "asleep")),
    ("unknown-surface", "mains", "M1", value("mains", "surface", "lava")),
    ("unknown-vent_between", "regulators", "R1", value("regulators", "vent_between", "maybe")),
    ("valve-main-unclear", "valves", "V1", put("valves", valve("V1", (50, 0.02)))),
    ("valve-on-no-main", "valves", "V1", put("valves", valve("V1", (300, 300)))),
    ("valve-operability-unknown", "valves", "V1", value("valves", "operable", "unknown")),
    ("valve-side-unclear", "valves", "V1", put("valves", valve("V1", (20, 0)))),
    ("valve-state-unknown", "valves", "V1", value("valves", "state", "unknown")),
    ("wrong-geometry", "mains", "M4", add("mains", {**main("M4", (0, 0), (1, 1)), "geometry": COLLECTION})),
    ("wrong-geometry", "keep_out", "row 1", value("keep_out", "geometry", line((0, 0), (1, 1)))),
    ("zero-length", "mains", "M4", add("mains", main("M4", (200, 0), (200, 0)))),
]

PLACELESS = {
    "no-geometry": "there is none",
    "no-place": "there is none",
    "odd-coordinates": "its place is what is wrong",
    "missing-reason": "an area without id",
    "missing-station-id": "a point without id",
    "sensing-without-station": "a point without id",
    "wrong-geometry": "of areas without id",
}


def _raw(change: Callable[[Raw], None]) -> Survey:
    given = {name: as_raw(name, frame) for name, frame in layers(**sound()).items()}
    change(given)
    return survey(given)


def _other_crs(given: Raw, name: str, crs: Any) -> None:
    layer = given[name]
    given[name] = RawLayer(name, layer.columns, layer.geometry, crs)


def _all_in(code: int) -> Callable[[Raw], None]:
    import pyproj

    def change(given: Raw) -> None:
        for name in list(given):
            _other_crs(given, name, pyproj.CRS.from_epsg(code))

    return change


def _crs(name: str, code: int | None) -> Callable[[Raw], None]:
    import pyproj

    return lambda given: _other_crs(given, name, None if code is None else pyproj.CRS.from_epsg(code))


def _latin(given: Raw) -> None:
    layer = given["customers"]
    place = layer.columns.column_names.index("address")
    bad = pa.array([b"Gr\xf6\xdfe 1", b"2 Row"], pa.binary()).view(pa.string())
    columns = layer.columns.set_column(place, "address", bad)
    given["customers"] = RawLayer("customers", columns, layer.geometry, layer.crs)


def _far_apart(given: Raw) -> None:
    # A main a thousand kilometres from the others stretches the area over which the scale must hold.
    rows = sound()
    rows["mains"].append(main("M4", (1_000_000, 0), (1_000_100, 0)))
    given["mains"] = as_raw("mains", layers(mains=rows["mains"])["mains"])


def _no_main(given: Raw) -> None:
    layer = given["mains"]
    given["mains"] = RawLayer("mains", layer.columns.slice(0, 0), np.zeros(0, dtype=object), layer.crs)


RAW: list[tuple[str, str, Callable[[Raw], None]]] = [
    ("crs-missing", "valves", _crs("valves", None)),
    ("crs-disagree", "valves", _crs("valves", 25832)),
    ("crs-unusable", "valves", _crs("valves", 4978)),
    ("crs-off-area", "mains", _all_in(27700)),
    ("crs-distorts", "", _far_apart),
    ("missing-layer", "regulators", lambda given: given.__delitem__("regulators")),
    (
        "missing-column",
        "mains",
        lambda given: given.update(
            mains=RawLayer(
                "mains",
                given["mains"].columns.drop_columns(["od_mm"]),
                given["mains"].geometry,
                given["mains"].crs,
            )
        ),
    ),
    ("unreadable-text", "customers", _latin),
    ("unusable", "", _no_main),
]


def test_sound_data_has_no_findings() -> None:
    found = seen(sound())
    assert found.findings == ()
    assert found.crs == "EPSG:31467"


@pytest.mark.parametrize(
    ("code", "layer", "feature", "plant"), PLANTED, ids=[f"{p[0]}-{p[1]}-{k}" for k, p in enumerate(PLANTED)]
)
def test_each_planted_defect_is_told_with_its_place(
    code: str, layer: str, feature: str, plant: Plant
) -> None:
    rows = sound()
    plant(rows)
    found = [f for f in seen(rows).findings if (f.code, f.layer, f.feature_id) == (code, layer, feature)]
    assert found, [f.line() for f in seen(rows).findings]
    for finding in found:
        _check_words(finding)
        if feature and code not in PLACELESS:
            _check_place(finding, rows)


def _check_words(finding: Finding) -> None:
    assert finding.what
    assert finding.mend
    assert "\n" not in finding.line()
    assert finding.severity is _weights()[finding.code] or finding.code in SEVERAL_WEIGHTS


SEVERAL_WEIGHTS = {"not-a-number", "odd-id", "wrong-geometry", "same-place"}


def _check_place(finding: Finding, rows: Rows) -> None:
    assert finding.x_m is not None, finding
    assert finding.y_m is not None, finding
    if finding.feature_id.startswith("row "):
        return
    shapes = [
        row["geometry"]
        for row in rows[finding.layer]
        if row.get("id", row.get("station_id")) == finding.feature_id
    ]
    gap = min(shapely.distance(shape, Point(finding.x_m, finding.y_m)) for shape in shapes)
    assert gap < 1.0, f"told {gap:.0f} m away from the feature"


@pytest.mark.parametrize(("code", "layer", "change"), RAW, ids=[case[0] for case in RAW])
def test_each_fault_of_a_whole_layer_is_told(code: str, layer: str, change: Callable[[Raw], None]) -> None:
    found = _raw(change).findings
    hit = [f for f in found if (f.code, f.layer) == (code, layer)]
    assert hit, [f.line() for f in found]
    _check_words(hit[0])


def _weights() -> dict[str, Severity]:
    text = resources.files("netplan.network.checks").joinpath("finding_codes.csv").read_text(encoding="utf-8")
    return {row["code"]: Severity(row["weight"]) for row in csv.DictReader(text.splitlines())}


def test_every_code_of_the_table_is_planted_and_every_code_of_the_source_is_in_it() -> None:
    planted = {case[0] for case in PLANTED} | {case[0] for case in RAW}
    assert planted == set(_weights())
    assert _codes_in_source() <= planted


def _codes_in_source() -> set[str]:
    """Return the codes written out under netplan/network, and those made of column names."""
    found: set[str] = set()
    for path in (Path(netplan.__file__).parent / "network").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
                name = node.func.attr if isinstance(node.func, ast.Attribute) else ""
                first = node.args[0].value
                if name in ("add", "add_each") and isinstance(first, str):
                    found.add(first)
    for spec in layer_specs().values():
        for column in spec.columns:
            if column.kind == "word":
                found.add(f"unknown-{column.name}")
                found |= {f"missing-{column.name}"} if column.required == "yes" else set()
            elif column.kind == "text" and column.required == "yes":
                found.add(f"missing-{column.name.replace('_', '-')}")
    assert {f"unknown-{name}" for name in WORD_OF} <= found
    return found


def test_everything_is_told_at_once_where_layers_cannot_be_put_together() -> None:
    rows = sound()
    rows["mains"][0]["od_mm"] = 11_000.0
    rows["mains"][1]["material"] = "wood"
    given = {name: as_raw(name, frame) for name, frame in layers(**rows).items()}
    _other_crs(given, "valves", None)
    found = {(f.code, f.layer) for f in survey(given).findings}
    assert {("crs-missing", "valves"), ("impossible-size", "mains"), ("unknown-material", "mains")} <= found


def test_errors_do_not_hide_what_only_joining_shows() -> None:
    rows = sound()
    rows["mains"][2]["od_mm"] = 11_000.0  # M3 cannot be used, so what hangs on it is dead or loose
    rows["mains"].append(main("M4", (200, 1), (300, 1)))
    found = {(f.code, f.feature_id) for f in seen(rows).findings}
    assert {("impossible-size", "M3"), ("near-miss", "M4"), ("service-on-no-main", "S2")} <= found


def test_json_and_layer_hold_the_same_findings_with_their_places() -> None:
    rows = sound()
    rows["mains"].append(main("M4", (200, 1), (300, 1)))
    found = seen(rows)
    frame = findings_layer(found.findings, found.crs)
    assert list(frame["code"]) == [f.code for f in found.findings]
    assert frame.crs.to_epsg() == 31467
    place = list(frame["feature_id"]).index("M4")
    assert frame["code"].iloc[place] == "near-miss"
    near = frame.geometry.iloc[place]
    assert (near.x - EAST_M, near.y - NORTH_M) == pytest.approx((200, 1), abs=1e-3)
    told = json.loads(findings_json(found.findings, found.crs))[place]
    assert (told["code"], told["feature_id"], told["severity"]) == ("near-miss", "M4", "warning")
    assert (told["x_m"], told["y_m"]) == (round(near.x, 3), round(near.y, 3))
    # The zone's central meridian is 9° E of its own datum, a few seconds off in today's longitude.
    assert told["lon"] == pytest.approx(9.0, abs=0.01)
    assert told["lat"] == pytest.approx(48.73, abs=0.02)


def test_the_sample_is_found_as_its_description_says() -> None:
    raw = read_layers(sample_network())
    found = survey(raw.layers, raw.source).findings
    assert not [f for f in found if f.severity is Severity.ERROR]
    assert all(f.x_m is not None for f in found if f.feature_id)
    assert ("near-miss", "M0092") in {(f.code, f.feature_id) for f in found}
