"""Volumes and contents of whole towns against sums that share nothing with the tool but the records."""

from __future__ import annotations

import math
from functools import lru_cache

import geopandas as gpd
import numpy as np
import pytest

from netplan.gas import line_content
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planfile.model import Option
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.readers import read_network, write_layers
from netplan.rules import default_rules
from tests.compared import compared
from tests.support.schutterwald import MAINS, layers, stored

TOWN = "sample_network/town.gpkg"
WALLS_MM = {
    # Wall series of ISO 4065 as in MS 1058: Part 2: 2005 (bold in print) or by its rule (SDR 17.6 and 21); 32 mm
    # has the floor of 3.0 mm of EN 1555-2, from memory.
    (32, 11): 3.0, (63, 11): 5.8, (75, 11): 6.8, (90, 17): 5.4, (90, 17.6): 5.2, (110, 17): 6.6, (110, 17.6): 6.3,
    (125, 11): 11.4, (125, 17): 7.4, (125, 17.6): 7.1, (160, 17): 9.5, (160, 17.6): 9.1, (180, 11): 16.4,
    (180, 17): 10.7, (180, 17.6): 10.3, (180, 21): 8.6, (250, 17): 14.8, (250, 21): 11.9, (315, 17): 18.7,
    (315, 21): 15.0,
}  # fmt: skip


@lru_cache(maxsize=1)
def _town() -> Network:
    return read_network(TOWN)


@lru_cache(maxsize=1)
def _bore_and_length() -> dict[str, tuple[float, float]]:
    """Return bore [m] and planar length [m] of every live pipe of the sample, straight from its layers."""
    pipes: dict[str, tuple[float, float]] = {}
    for layer in ("mains", "services"):
        frame = gpd.read_file(TOWN, layer=layer)
        for row in frame[frame["status"] == "live"].itertuples():
            bore_mm = row.bore_mm
            if bore_mm is None or math.isnan(bore_mm):
                bore_mm = row.od_mm - 2.0 * WALLS_MM[row.od_mm, row.sdr]
            pipes[f"{layer}/{row.id}"] = (bore_mm / 1000.0, row.geometry.length)
    return pipes


def test_the_open_towns_mains_hold_what_was_counted(tmp_path_factory: pytest.TempPathFactory) -> None:
    folder = tmp_path_factory.mktemp("town") / "network"
    write_layers(layers(), folder)
    pipes = read_network(folder)
    bore, length = pipes.pipes.bore_m[:MAINS], pipes.pipes.length_m[:MAINS]
    # Direct arithmetic on the data set: 95.53 m³ by its geometry, 94.927 m³ by its own length column.
    by_geometry = line_content(length * pipes.scale, bore, 5000.0, 283.15)
    assert by_geometry.geometry_m3 == pytest.approx(95.53, abs=0.005)
    net = stored()
    is_main = (net.pipe["type"] == "pipe").to_numpy()
    by_column = line_content(
        net.pipe.length_km[is_main] * 1000.0, net.pipe.inner_diameter_mm[is_main] / 1000.0, 5000.0, 283.15
    )
    compared(
        "Schutterwald: volume by the length column",
        by_column.geometry_m3,
        94.927,
        abs=0.001,
        unit="m³",
        source="sum over the open data set",
        how="published",
    )
    # 50 mbar and 10 °C throughout, by hand: V · 1.06325/1.01325 · 288.15/283.15.
    factor = (101_325.0 + 5000.0) / 101_325.0 * 288.15 / 283.15
    compared(
        "Schutterwald: line content at 50 mbar",
        by_geometry.content_m3,
        95.53 * factor,
        abs=0.006,
        unit="m³",
        source="volume of the open data set, by hand",
        how="arithmetic",
    )


def test_the_samples_volume_is_the_sum_over_its_layers() -> None:
    town = _town()
    read = math.fsum(math.pi / 4 * bore**2 * length for bore, length in _bore_and_length().values())
    whole = line_content(town.pipes.length_m, town.pipes.bore_m, 0.0, 283.15)
    assert len(town.pipes) == len(_bore_and_length())
    assert whole.geometry_m3 * town.scale == pytest.approx(read, rel=1e-6)


@pytest.fixture(scope="module")
def options() -> tuple[Option, ...]:
    town = _town()
    length = float(town.pipes.length_m[town.pipes.id.find("M0149")])
    part = WorkPart("M0149", 0.4 * length, min(0.4 * length + 6.0, length))
    found = make_plan(PlanRequest(town, (part,), default_rules(), options=2)).plan.options
    assert len(found) == 2
    return found


def test_a_planned_zone_holds_the_sum_of_its_lengths(options: tuple[Option, ...]) -> None:
    records = _bore_and_length()
    # Gauge pressure of light gas rises uphill, by (1.25 - 0.78) kg/m³ · g at most 5 Pa/m between air and gas.
    heights = _town().nodes.height_m
    outlet = float(np.nanmax(_town().stations.outlet_pa_gauge)) + 5.0 * float(
        np.ptp(heights[~np.isnan(heights)])
    )
    warm = 288.15 / 283.15
    for option in options:
        volume = math.fsum(
            math.pi / 4 * records[f"{span.layer}/{span.pipe_id}"][0] ** 2 * (span.to_m - span.from_m)
            for zone in option.zones
            for span in zone.pipes
        )
        assert sum(z.internal_volume_m3 for z in option.zones) == pytest.approx(volume, rel=1e-3)
        gaps = math.fsum(
            math.pi / 4 * (stop.bore_mm / 1000) ** 2 * abs(barriers[1] - barriers[0])
            for stop in option.stops
            if len(barriers := [t.chainage_m for t in stop.tappings if t.role == "barrier"]) == 2
        )
        # Between nothing and the greatest station outlet with its rise uphill; Z moves it by less than 0.03 %.
        vent = option.vent
        least = (volume + gaps) * warm
        assert least * (1 - 3e-4) < vent.line_content_m3 < least * (1 + outlet / 101_325.0) * (1 + 3e-4)
        assert vent.line_content_m3 - vent.of_which_pressure_part_m3 == pytest.approx(least, rel=1e-3)
        assert vent.total_m3 == pytest.approx(vent.line_content_m3 + vent.purge_m3, abs=2e-6)
        assert vent.reference == "15 °C, 101.325 kPa"
        assert {"0 °C, 101.325 kPa", "60 °F, 14.73 psia"} == set(vent.content_at)
        assert len(vent.compared) == 4
        assert {row.stop_id for row in vent.let_by} <= {stop.id for stop in option.stops}


def test_a_planned_zone_has_a_purge_point_at_every_end_of_its_mains(options: tuple[Option, ...]) -> None:
    town = _town()
    for option in options:
        # Independent: ends of the zone's main spans that no other span of a main touches, by coordinates.
        points = option.purge.points
        assert [p.role for p in points if p.order == 0] == ["feed"]
        vents = [p for p in points if p.role == "vent"]
        assert [p.order for p in vents] == list(range(1, len(vents) + 1))
        assert len(vents) >= len(option.stops) - 1
        spans = [span for zone in option.zones for span in zone.pipes if span.layer == "mains"]
        for point in points:
            reach = [s for s in spans if s.pipe_id == point.main_id]
            assert any(s.from_m - 0.01 <= point.chainage_m <= s.to_m + 0.01 for s in reach), point
            assert town.pipes.id.find(point.main_id, 0, town.pipes.n_mains) >= 0
