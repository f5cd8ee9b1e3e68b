"""Every layer of plan.gpkg holds what plan.json says, row by row, on a plan that the program made (own)."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import cache
from typing import Any

import geopandas as gpd
import numpy as np
import pytest

from netplan.isolation import Orders
from netplan.network.work_section import WorkPart
from netplan.outputs.layers import plan_layers
from netplan.planfile.plan_result import PlanResult
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.rules import default_rules
from tests.support.networks import build, customer, main, service, station, valve

CAPACITY_M3H, OUTLET_MBAR, MOST_MBAR = 180.0, 31.5, 62.0


@cache
def _made() -> tuple[PlanResult, dict[str, gpd.GeoDataFrame]]:
    """Plan a street and a side street, a station at each of their ends and a valve before each station."""
    houses = [(40, 0), (70, 0), (200, 0), (240, 0), (150, -60), (150, -90)]
    network = build(
        strict=False,
        mains=[
            main("M1", (0, 0), (300, 0), od_mm=125.0, year=2010),
            main("M2", (150, 0), (150, -120), od_mm=110.0, year=2010),
        ],
        services=[service(f"S{k}", (x, y), (x + 6, y + 8)) for k, (x, y) in enumerate(houses)],
        customers=[customer(f"C{k}", (x + 6, y + 8), service_id=f"S{k}") for k, (x, y) in enumerate(houses)],
        regulators=[
            station(name, at, outlet_mbar=OUTLET_MBAR, max_outlet_mbar=MOST_MBAR, capacity_m3h=CAPACITY_M3H)
            for name, at in (("R1", (0, 0)), ("R2", (300, 0)), ("R3", (150, -120)))
        ],
        valves=[valve("V1", (55, 0)), valve("V2", (275, 0)), valve("V3", (150, -110))],
    )
    # Valves would be cheaper: they are left for the fallback.
    request = PlanRequest(
        network,
        (WorkPart("M1", 100.0, 106.0),),
        default_rules(),
        orders=Orders(forbid_valves=(0, 1, 2)),
        options=3,
        weather=False,
    )
    result = make_plan(request)
    return result, plan_layers(result)


def _rows(name: str, *columns: str) -> Counter[tuple[Any, ...]]:
    table = _made()[1][name]
    assert not table.geometry.is_empty.any()
    return Counter(
        tuple(round(v, 3) if isinstance(v, float) else v for v in row)
        for row in table[["option", *columns]].itertuples(index=False)
    )


def _counted(*rows: tuple[Any, ...]) -> Counter[tuple[Any, ...]]:
    return Counter(tuple(round(v, 3) if isinstance(v, float) else v for v in row) for row in rows)


def test_tappings_gauges_and_purge_points() -> None:
    options = _made()[0].plan.options
    tappings = [
        (o.rank, s.id, t.role, t.chainage_m, t.size_mm) for o in options for s in o.stops for t in s.tappings
    ]
    assert {role for _, _, role, _, _ in tappings} >= {"barrier", "vent", "zone_vent", "gauge"}
    assert _rows("tappings", "stop_id", "role", "chainage_m", "size_mm") == _counted(*tappings)
    drilled = {
        (o.rank, t.main_id or s.main_id, t.chainage_m)
        for o in options
        for s in o.stops
        for t in s.tappings
        if t.size_mm > 0
    }
    left = _made()[1]["as_built_fittings"]
    outlets = left[left.kind == "tapping_tee"]
    assert drilled <= set(zip(outlets.option, outlets.main_id, outlets.chainage_m, strict=True))
    gauges = [
        (o.rank, g.id, g.main_id, g.chainage_m, g.normal_mbar, g.abort_mbar)
        for o in options
        for g in o.gauges
    ]
    assert gauges
    assert _rows("gauges", "gauge_id", "main_id", "chainage_m", "normal_mbar", "abort_mbar") == _counted(
        *gauges
    )
    points = [(o.rank, p.id, p.role, p.main_id, p.chainage_m) for o in options for p in o.purge.points]
    assert points
    assert _rows("purge_points", "point_id", "role", "main_id", "chainage_m") == _counted(*points)


def test_fallback_and_standby() -> None:
    options = _made()[0].plan.options
    uses = [
        (o.rank, f.stop_id, f.failure, use.method, use.main_id, use.chainage_m)
        for o in options
        for f in o.fallback
        for use in f.use
    ]
    # Some failures take several stops at once.
    assert any(len(f.use) > 1 for o in options for f in o.fallback)
    assert _rows("fallback", "stop_id", "failure", "method", "main_id", "chainage_m") == _counted(*uses)
    customers = _made()[1]["customers"]
    for option in options:
        own = customers[customers["option"] == option.rank]
        standing_by = set(own.loc[own["standby"].astype(bool), "customer_id"])
        assert standing_by == {name for f in option.fallback for name in f.standby}
    assert customers["standby"].astype(bool).any()


def test_stops_and_zones() -> None:
    options = _made()[0].plan.options
    stops = [(o.rank, s.id, s.method, s.main_id, s.chainage_m, s.work_side) for o in options for s in o.stops]
    assert _rows("stops", "stop_id", "method", "main_id", "chainage_m", "work_side") == _counted(*stops)
    zones = [
        (o.rank, p.layer, p.pipe_id, p.from_m, p.to_m) for o in options for z in o.zones for p in z.pipes
    ]
    assert _rows("zones", "layer", "pipe_id", "from_m", "to_m") == _counted(*zones)


def test_stations_are_as_recorded() -> None:
    rows = _made()[1]["stations"]
    assert rows["capacity_m3h"].to_numpy() == pytest.approx(np.full(len(rows), CAPACITY_M3H))
    assert rows["outlet_mbar"].to_numpy() == pytest.approx(np.full(len(rows), OUTLET_MBAR))
    assert rows["max_outlet_mbar"].to_numpy() == pytest.approx(np.full(len(rows), MOST_MBAR))


def test_a_pipe_has_the_pressures_of_its_own_ends() -> None:
    layers = _made()[1]
    ranks = layers["pipes"]["option"].unique()
    assert len(ranks) == 3
    for rank in ranks:
        nodes = layers["nodes"][layers["nodes"]["option"] == rank].set_index("node")
        pipes = layers["pipes"][layers["pipes"]["option"] == rank]
        for end in ("from", "to"):
            at = nodes.loc[pipes[f"{end}_node"], "pressure_mbar"].to_numpy()
            np.testing.assert_allclose(pipes[f"pressure_{end}_mbar"], at, atol=1e-6)
        # Gas runs down the pressure.
        drop = pipes["pressure_from_mbar"] - pipes["pressure_to_mbar"]
        moves = (pipes["flow_m3h"].abs() > 0.1) & (drop.abs() > 2e-5)
        assert moves.any()
        assert (np.sign(drop[moves]) == np.sign(pipes["flow_m3h"][moves])).all()


def test_a_stop_stands_at_the_pressure_of_its_live_side_with_all_stops_in() -> None:
    result, layers = _made()
    option = result.plan.options[0]
    nodes = layers["nodes"][layers["nodes"]["option"] == 1]
    states = {state.after_step: state for state in option.states}
    assert len(states) > 3
    held = 0
    for stop in option.stops:
        if stop.pressure_mbar is None:
            continue
        # Gas stands nearly still in so short a street: the node nearest to the stop, beyond its barrier.
        sign = 1.0 if stop.work_side == "from" else -1.0
        tee = max(
            (t for t in stop.tappings if t.role in ("gauge", "bypass")),
            key=lambda t: sign * t.chainage_m,
            default=None,
        )
        if tee is None:
            continue
        near = nodes.iloc[
            int(nodes.geometry.distance(_place(tee.main_id, tee.chainage_m)).to_numpy().argmin())
        ]
        assert stop.pressure_mbar == pytest.approx(float(near["pressure_mbar"]), abs=0.02)
        held += 1
    assert held == len(option.stops) == 2


def _place(main_id: str, chainage_m: float) -> Any:
    network = _made()[0].network
    row = network.pipes.id.find(main_id)
    course = network.pipes.coords_m[network.pipes.coord_start[row] : network.pipes.coord_start[row + 1]]
    return gpd.GeoSeries.from_wkt([f"LINESTRING ({', '.join(f'{x} {y}' for x, y in course)})"]).interpolate(
        chainage_m
    )[0]


def test_a_gauge_warns_above_the_reading_at_which_to_abort() -> None:
    margin = default_rules().pressure.margin_mbar
    gauges = [gauge for option in _made()[0].plan.options for gauge in option.gauges]
    assert gauges
    for gauge in gauges:
        assert gauge.abort_mbar < gauge.warning_mbar <= gauge.normal_mbar + 0.05
        assert gauge.warning_mbar - gauge.abort_mbar == pytest.approx(margin, abs=0.02)


def test_a_tapping_is_drawn_on_its_own_main() -> None:
    """A bypass tee that does not fit beside its stop stands beyond the next joint, on another main."""
    result = _made()[0]
    first = result.plan.options[0]
    stop = next(stop for stop in first.stops if stop.main_id == "M1" and stop.tappings)
    tee = stop.tappings[-1].model_copy(update={"main_id": "M2", "chainage_m": 30.0})
    changed = stop.model_copy(update={"tappings": (*stop.tappings[:-1], tee)})
    option = first.model_copy(update={"stops": tuple(changed if s is stop else s for s in first.stops)})
    plan = result.plan.model_copy(update={"options": (option, *result.plan.options[1:])})
    layers = plan_layers(replace(result, plan=plan))
    for name in ("tappings", "as_built_fittings"):
        rows = layers[name]
        found = rows[(rows.option == 1) & (rows.main_id == "M2") & (rows.chainage_m == 30.0)]
        assert len(found) == 1
        assert found.geometry.iloc[0].distance(_place("M2", 30.0)) < 1e-6
