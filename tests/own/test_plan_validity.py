"""What a plan says where its equations end, and of the few customers at a branch's end: whole chain (own).

Plans are made by the program; velocities, Reynolds numbers and peaks are worked out here from plan.gpkg.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import fluids
import geopandas as gpd
import pytest

from netplan.network.work_section import WorkPart
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.planfile.model import Option
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.rules import read_rules
from tests.support.networks import build, customer, main, service, station

DEAR = {"off_per_hour": {"household": 900.0}, "hose_per_m": 10.0}
WORKS: dict[str, Any] = {"peak_kw": 4650.0, "category": "industry", "priority": "works"}
TOO_FAST, TRANSITION = "faster than 40 m/s", "between laminar and turbulent"


def _folder(tmp_path: Path, rules: dict[str, Any], houses: list[dict[str, Any]], **more: Any) -> Path:
    """Plan 6 m in the middle of a street, houses beyond it fed by a bypass, and write the folder."""
    places = [(60.0, 8.0), *((200.0 + 6.0 * k, 8.0) for k in range(len(houses)))]
    network = build(
        mains=[main("M1", (0, 0), (300, 0), od_mm=more.get("od_mm", 125.0))],
        services=[
            service(
                f"S{k}",
                (x, 0),
                (x, y),
                bore_mm=more.get("bore_mm", 26.0),
                od_mm=1.2 * more.get("bore_mm", 26.0),
            )
            for k, (x, y) in enumerate(places)
        ],
        customers=[
            customer(f"C{k}", place, service_id=f"S{k}", **row)
            for k, (place, row) in enumerate(zip(places, [{}, *houses], strict=True))
        ],
        regulators=[station("R1", (0, 0), outlet_mbar=more.get("outlet_mbar", 30.0))],
    )
    work = (WorkPart("M1", more.get("from_m", 120.0), 126.0),)
    request = PlanRequest(network, work, read_rules(None, rules), options=1, weather=False)
    result = make_plan(request)
    tmp_path.mkdir(exist_ok=True)
    return write_plan_folder(result, tmp_path / "plan", choices=Choices(papers=False))


def _read(folder: Path) -> tuple[dict[str, Any], dict[str, gpd.GeoDataFrame]]:
    plan = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    names = ("pipes", "bypasses", "customers")
    return plan, {name: gpd.read_file(folder / "plan.gpkg", layer=name) for name in names}


def _fastest_m_per_s(layers: dict[str, gpd.GeoDataFrame]) -> dict[str, float]:
    """Velocity at the end of lower pressure, by the ideal gas law with Z of 1: within half a percent."""
    found: dict[str, float] = {}
    pipes = layers["pipes"]
    low = pipes[["pressure_from_mbar", "pressure_to_mbar"]].min(axis=1)
    actual = pipes.flow_m3h.abs() / 3600.0 * 101_325.0 / (101_325.0 + 100.0 * low) * 283.15 / 288.15
    speed = actual / (math.pi / 4.0 * (pipes.bore_mm / 1e3) ** 2)
    for name, value in zip(pipes.pipe_id, speed.fillna(0.0), strict=True):
        found[name] = max(found.get(name, 0.0), float(value))
    for row in layers["bypasses"].itertuples():
        found[row.bypass_id] = float(row.velocity_m_s)
    return found


def test_gas_too_fast_in_a_bypass_is_a_warning_that_names_it(tmp_path: Path) -> None:
    # A works of 4.65 MW, about 500 m³/h with the margin, and only hoses of 63 mm that gas may run fast in.
    rules = {
        "price": DEAR,
        "bypass": {
            "bores_mm": [63.0],
            "tapping_bore_mm": 63.0,
            "velocity_max_m_s": 80.0,
            "parallel_max": 1,
            "loss_coefficient": 1.0,
        },
        "pressure": {"minimum_mbar": 18.0, "margin_mbar": 0.0},
    }
    folder = _folder(tmp_path, rules, [WORKS, {}], bore_mm=100.0, outlet_mbar=65.0, od_mm=180.0)
    plan, layers = _read(folder)
    speed = _fastest_m_per_s(layers)
    assert {name for name, value in speed.items() if value > 40.0} == {"B1"}
    (words,) = [line for line in plan["options"][0]["warnings"] if TOO_FAST in line]
    assert words.startswith("gas runs faster than 40 m/s in B1, first in the state “")
    assert words.endswith("take a larger bore")
    assert not [row for row in plan["findings"] if row["code"].endswith("beyond-validity")]
    assert words in (folder / "map.html").read_text(encoding="utf-8")


def test_gas_too_fast_before_any_stop_is_a_finding(tmp_path: Path) -> None:
    rules = {"price": DEAR, "pressure": {"minimum_mbar": 18.0, "margin_mbar": 0.0}}
    folder = _folder(tmp_path, rules, [WORKS, {}], bore_mm=60.0, outlet_mbar=65.0, od_mm=180.0)
    plan, layers = _read(folder)
    fast = {name for name, value in _fastest_m_per_s(layers).items() if value > 40.0}
    assert fast == {"S1"}
    (row,) = [row for row in plan["findings"] if row["code"] == "velocity-beyond-validity"]
    assert row["what"] == "gas runs faster than 40 m/s in S1 before any stop"
    assert not [line for line in plan["options"][0]["warnings"] if TOO_FAST in line]


def test_a_plan_within_the_range_says_nothing_of_it(tmp_path: Path) -> None:
    plan, layers = _read(_folder(tmp_path, {"price": DEAR}, [{}] * 4))
    assert max(_fastest_m_per_s(layers).values()) < 40.0
    assert not any(TOO_FAST in line for line in plan["options"][0]["warnings"])
    assert not [row for row in plan["findings"] if row["code"].endswith("beyond-validity")]


def test_a_bypass_between_laminar_and_turbulent_is_a_warning_with_its_doubt(tmp_path: Path) -> None:
    rules = {"price": DEAR, "bypass": {"bores_mm": [25.0], "slack": 3.0, "parallel_max": 1, "reach_m": 200.0}}
    plan, layers = _read(_folder(tmp_path, rules, [{}, {}], from_m=90.0))
    row = layers["bypasses"].iloc[0]
    # The shipped natural gas: 0.7347 kg/m³ at 15 °C, and 1.09e-5 Pa s at 10 °C within 2 %.
    reynolds = 4.0 * row.flow_m3h / 3600.0 * 0.7347 / (math.pi * row.bore_mm / 1e3 * 1.09e-5)
    assert 2300.0 < reynolds < 3700.0
    local = row.loss_coefficient * 0.5 * 0.75 * row.velocity_m_s**2
    factor = fluids.friction.Colebrook(reynolds, 0.01 / row.bore_mm)
    turbulent = factor * row.length_m / (row.bore_mm / 1e3) * 0.5 * 0.75 * row.velocity_m_s**2
    doubt_mbar = (turbulent - (row.drop_mbar * 100.0 - local)) / 100.0
    (words,) = [line for line in plan["options"][0]["warnings"] if TRANSITION in line]
    assert "is a convention, in B1: it may drop up to" in words
    stated = float(words.split("up to ")[1].split(" mbar")[0])
    assert stated - 0.1 <= doubt_mbar * 1.15
    assert stated >= doubt_mbar * 0.85


def _uplift(meters: float) -> float:
    # By the shipped rules: (1 + 0.35 / sqrt n)(1 + 0.10).
    return (1.0 + 0.35 / math.sqrt(meters)) * 1.10


def _peaking_mbar(layers: dict[str, gpd.GeoDataFrame], house: str, service_id: str, together: int) -> float:
    """Inlet of a house at the far end of a tree, fed by a bypass: every piece's drop raised by hand.

    The drop is taken to grow with the flow to the power 1.9, between laminar and rough: what is asserted is no
    finer than that.
    """
    inlet = layers["customers"].set_index("customer_id").pressure_mbar[house]
    pipe = layers["pipes"][layers["pipes"].pipe_id == service_id]
    drop = (pipe.pressure_from_mbar - pipe.pressure_to_mbar).abs().sum()
    return float(inlet - drop * ((_uplift(1.0) / _uplift(together)) ** 1.9 - 1.0))


def test_the_few_at_the_end_of_a_branch_are_a_figure_and_a_warning(tmp_path: Path) -> None:
    # One large household on a long thin service at the end: its own peak is 1.35 / 1.13 of its share.
    houses: list[dict[str, Any]] = [{}] * 6 + [{"annual_kwh": 90_000.0}]
    loose = {"price": DEAR, "pressure": {"minimum_mbar": 15.0, "margin_mbar": 0.0}}
    plan, layers = _read(_folder(tmp_path / "a", loose, houses, bore_mm=20.0))
    option = Option.model_validate(plan["options"][0])
    peak, after = option.pressures.with_local_peak, option.pressures.after
    assert peak is not None
    assert (peak.at, after.at) == ("C7", "C7")
    assert peak.least_mbar is not None
    assert after.least_mbar is not None
    by_hand = _peaking_mbar(layers, "C7", "S7", 7)
    assert after.least_mbar - peak.least_mbar > 0.05
    assert peak.least_mbar == pytest.approx(by_hand, abs=0.25 * (after.least_mbar - by_hand))
    assert not [line for line in option.warnings if "peak together" in line]
    # With a minimum between both the plan stands, and warns.
    between = round((peak.least_mbar + after.least_mbar) / 2.0, 3)
    # So small a margin takes a finer gauge than the finest of the rules as shipped.
    strict = {
        "price": DEAR,
        "pressure": {"minimum_mbar": between, "margin_mbar": 0.0},
        "gauge": {"finest_error_mbar": 0.005},
    }
    plan, _ = _read(_folder(tmp_path / "b", strict, houses, bore_mm=20.0))
    warned = Option.model_validate(plan["options"][0])
    lines = [line for line in warned.warnings if "peak together" in line]
    assert warned.bypasses[0].bore_mm == option.bypasses[0].bore_mm
    assert len(lines) == 1
    assert "C7 may fall to" in lines[0]
    assert f"below the minimum of {between:g} mbar" in lines[0]
    assert warned.pressures.with_local_peak == peak
