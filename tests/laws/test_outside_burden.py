"""The burden of plans is worked out again from outside: plan.json, raw layers and rules (see outside_burden)."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import geopandas as gpd
import pyogrio
import pytest

from netplan.cli.sample import DEMO_WORK, sample_network
from netplan.core.errors import NoPlanError
from netplan.network.build import build_network
from netplan.network.work_section import WorkPart
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_network
from netplan.rules import read_rules
from tests.support.independent import Frames
from tests.support.networks import customer, fitting, layers, main, service, station, valve
from tests.support.outside_burden import OutsideBurden

METHANE = {"gas": {"composition": {"methane": 1.0}}}
WORKS = {
    "bypass and valve, 20 fed": DEMO_WORK,
    "squeezes with and without a bypass": ("M0048", 42.11, 48.11),
    "many off in the queue": ("M0089", 63.26, 69.26),
    "two valves": ("M0123", 115.92, 121.92),
    "bag or squeeze": ("M0141", 230.77, 236.77),
}


@cache
def _sample_layers() -> Frames:
    path = sample_network()
    return {str(name): gpd.read_file(path, layer=name) for name, _ in pyogrio.list_layers(path)}


def _outside(request: PlanRequest, raw: Frames) -> tuple[OutsideBurden, list[dict[str, Any]]]:
    """Plan, write the folder, and return what prices its options from outside, and them."""
    with TemporaryDirectory() as folder:
        out = write_plan_folder(make_plan(request), Path(folder) / "plan", choices=Choices(papers=False))
        plan = json.loads((out / "plan.json").read_text(encoding="utf-8"))
        pipes = gpd.read_file(out / "plan.gpkg", layer="pipes")
    bore_mm = {(p.layer, p.pipe_id): float(p.bore_mm) for p in pipes.itertuples()}
    return OutsideBurden(plan, raw, bore_mm), plan["options"]


def _check(outside: OutsideBurden, options: list[dict[str, Any]]) -> None:
    assert options
    for option in options:
        parts = option["burden_parts"]
        for name in ("stops", "interruption", "feeds", "gas", "excavations", "fallbacks"):
            worked_out = getattr(outside, name)(option)
            assert parts[name] in worked_out, (option["rank"], name, parts[name], worked_out)
            # Hoses are measured between coordinates of a millimetre; all else is one number.
            assert name in ("feeds", "excavations") or worked_out.high - worked_out.low <= 1
        assert option["burden"] == pytest.approx(sum(parts.values()), abs=1e-6)
    assert len({outside.difference(option) for option in options}) == len(options)


@pytest.mark.parametrize("work", WORKS)
def test_plans_of_the_sample(work: str) -> None:
    request = PlanRequest(
        read_network(sample_network()),
        (WorkPart(*WORKS[work]),),
        read_rules(None, METHANE),
        weather=False,
    )
    outside, options = _outside(request, _sample_layers())
    _check(outside, options)
    if work == "squeezes with and without a bypass":
        # The same chains and methods with a part fed and with it off are two options.
        keys = [outside.difference(option) for option in options]
        assert len({stops for stops, _ in keys}) < len(keys)


def test_prepared_fallbacks_of_the_sample() -> None:
    rules = read_rules(None, {**METHANE, "fallback": {"prepared": True, "max_zones": 4}})
    work = (WorkPart(*WORKS["two valves"]),)
    request = PlanRequest(read_network(sample_network()), work, rules, weather=False, options=2)
    outside, options = _outside(request, _sample_layers())
    _check(outside, options)
    assert any(option["burden_parts"]["fallbacks"] for option in options)


def _by_a_station(*, valves: bool) -> Frames:
    """Return a street with a station at each end, one of them 12 m from the work and nobody between."""
    at = {"C1": (60.0, 8.0), "C2": (60.0, -8.0), "C3": (120.0, 8.0)}
    number = {"C1": "12", "C2": "2", "C3": "30"}
    return layers(
        mains=[main("M1", (0, 0), (200, 0), od_mm=125.0, year=2005, mop_mbar=75.0, surface="footway")],
        services=[service(f"S{who[1]}", (x, 0), (x, y)) for who, (x, y) in at.items()],
        customers=[
            customer(
                who,
                place,
                service_id=f"S{who[1]}",
                meters=2 if who == "C1" else 1,
                category="business" if who == "C1" else "household",
                street="Elm Bow",
                number=number[who],
                priority="",
            )
            for who, place in at.items()
        ],
        regulators=[station("R1", (0, 0)), station("R2", (200, 0), outlet_mbar=28.0)],
        valves=[valve("V1", (2, 0)), valve("V2", (190, 0))] if valves else [valve("V2", (190, 0))],
        fittings=[fitting("F1", (150, 0))],
    )


def test_a_station_is_shut_in_by_its_outlet_valve_for_the_price_of_the_valve() -> None:
    rules, work = read_rules(None, METHANE), (WorkPart("M1", 12.0, 50.0),)

    def request(*, valves: bool) -> PlanRequest:
        network = build_network(_by_a_station(valves=valves), strict=False)
        return PlanRequest(network, work, rules, weather=False)

    # A stop that is no valve fits between the station and the work, but would shut the station in.
    with pytest.raises(
        NoPlanError, match="station R1 would be shut in by a stop that is not its outlet valve"
    ):
        make_plan(request(valves=False))
    outside, options = _outside(request(valves=True), _by_a_station(valves=True))
    _check(outside, options)
    assert all("V1" in {stop["valve_id"] for stop in option["stops"]} for option in options)
    assert any(who["effect"] == "off" for option in options for who in option["customers"])
