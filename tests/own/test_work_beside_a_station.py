"""Work right behind the outlet valve of a station: barriers, cover, steps, and what the station carries.

What stands between the work and a station is counted here from the records alone; nothing of the program that
counts barriers is used.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from netplan.network.build import build_network
from netplan.network.checks import check_network
from netplan.network.work_section import WorkPart
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.planfile.model import Option, Step
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.procedure import Stage
from netplan.readers import read_network
from netplan.rules import read_rules
from tests.support.letters import WORDS
from tests.support.sample_plan import sample_request
from tests.support.station_street import WORK, at_outlet, street_layers, street_plan
from tests.whole_plan.check import check_folder, read_raw
from tests.whole_plan.making import write_layers

NO_FALLBACK = "no fallback: nothing lies between this valve and the station"
COUNTS: dict[str, Any] = {"station": {"inlet_shut_counts": True}}
RECORDED: dict[str, Any] = {"inlet": {}, "inlet_valve": "VI", "vent_between": "yes"}


def _option(frames: Any, rules: dict[str, Any] | None = None) -> Option:
    return street_plan(frames, rules).options[0]


def _stages(option: Option, stop_id: str) -> list[str]:
    return [step.stage for step in option.steps if stop_id in step.uses]


def _step(option: Option, stage: Stage) -> Step:
    (found,) = [step for step in option.steps if step.stage == stage]
    return found


def test_an_outlet_valve_alone_is_one_barrier_and_says_so() -> None:
    option = _option(street_layers())
    stop = at_outlet(option)
    assert stop.barriers == 1
    (behind,) = stop.shuts_in
    assert (behind.station_id, behind.outlet_mbar, behind.fault_mbar) == ("R1", 31.0, 58.0)
    assert not behind.inlet_counts
    (warning,) = [line for line in option.warnings if line.startswith(f"{stop.id}: ")]
    assert "1 barrier" in warning
    assert "R1 (outlet 31 mbar, 58 mbar in a fault)" in warning
    assert NO_FALLBACK in warning
    fallbacks = [one for one in option.fallback if one.stop_id == stop.id]
    assert {one.failure for one in fallbacks} == {"will not set", "lost during open work"}
    assert all(one.minutes is None and one.note.startswith(NO_FALLBACK) for one in fallbacks)
    (lost,) = [one for one in fallbacks if one.failure == "lost during open work"]
    assert "network control shuts the station at its inlet" in lost.note
    assert Stage.INLET_SHUT not in _stages(option, stop.id)
    (signed,) = [step for step in option.steps if step.stage == Stage.EXCEPTION and stop.id in step.uses]
    assert "the only barrier between the work and station R1" in signed.does
    assert signed.hold
    assert signed.who == "competent person"


@pytest.mark.parametrize(
    ("columns", "rules", "barriers", "why"),
    [
        ({}, None, 1, "no inlet valve is recorded"),
        ({}, COUNTS, 2, "rule station.inlet_shut_counts"),
        (RECORDED, None, 2, "inlet valve VI and the vent between are recorded"),
        ({"inlet": {}, "inlet_valve": "VI"}, None, 1, "a vent between is not"),
        ({"inlet": {}, "inlet_valve": "VI"}, COUNTS, 2, "rule station.inlet_shut_counts"),
        # What the records say against it, no rule overrules.
        (RECORDED | {"vent_between": "no"}, COUNTS, 1, "no vent lies between"),
        (RECORDED | {"inlet": {"operable": "no"}}, COUNTS, 1, "VI is not known to be usable"),
        (RECORDED | {"inlet": {"operable": "unknown"}}, None, 1, "VI is not known to be usable"),
        (RECORDED | {"inlet_valve": "VX"}, COUNTS, 1, "VX is not known to be usable"),
        # The outlet valve itself, named as the inlet valve, is not counted twice.
        (RECORDED | {"inlet_valve": "V1"}, COUNTS, 1, "V1 is not known to be usable"),
    ],
    ids=lambda value: value if isinstance(value, str) else None,
)
def test_the_inlet_counts_only_by_records_or_rule(
    columns: dict[str, Any], rules: dict[str, Any] | None, barriers: int, why: str
) -> None:
    option = _option(street_layers(**columns), rules)
    stop = at_outlet(option)
    assert stop.barriers == barriers
    assert why in stop.shuts_in[0].why
    (warning,) = [line for line in option.warnings if line.startswith(f"{stop.id}: ")]
    assert f"{barriers} barrier" in warning
    assert (Stage.INLET_SHUT in {step.stage for step in option.steps}) == (barriers == 2)


@pytest.mark.parametrize(
    "columns", [{"inlet_valve": "VX"}, {"inlet_valve": "V1"}, RECORDED | {"inlet": {"operable": "no"}}]
)
def test_an_inlet_valve_that_cannot_count_is_a_finding(columns: dict[str, Any]) -> None:
    codes = [one.code for one in check_network(build_network(street_layers(**columns), strict=False))]
    assert "inlet-valve-not-usable" in codes
    assert "inlet-valve-not-usable" not in [
        one.code for one in check_network(build_network(street_layers(**RECORDED), strict=False))
    ]


def test_no_vent_between_is_a_finding() -> None:
    frames = street_layers(**RECORDED | {"vent_between": "unknown"})
    assert "no-vent-between" in [one.code for one in check_network(build_network(frames, strict=False))]


def test_the_inlet_goes_first_and_comes_back_before_its_valve_opens() -> None:
    option = _option(street_layers(**RECORDED))
    stop = at_outlet(option)
    shut, vented, back, stands = (
        step
        for stage in (Stage.INLET_SHUT, Stage.SPACE_VENTED, Stage.INLET_OPENED)
        for step in option.steps
        if step.stage == stage and stop.id in step.uses
    )
    for step in (shut, vented, back):
        assert {stop.id, "R1", "VI", "V1"} <= set(step.uses)
        assert step.hold
    own = [step for step in option.steps if stop.id in step.uses]
    closes, test, equal, opens = (
        next(step.n for step in own if step.stage == stage)
        for stage in (Stage.STOP_IN, Stage.LET_BY, Stage.EQUALISE, Stage.STOP_OUT)
    )
    assert shut.n < closes < test < vented.n
    assert "lock and tag both valves" in vented.does.lower()
    trench = [step.n for step in option.steps if step.stage in (Stage.WORK, Stage.TIE_IN, Stage.JOINTS)]
    gas_free = next(step.n for step in option.steps if step.stage == Stage.GAS_FREE)
    assert vented.n < gas_free < min(trench)
    assert max(trench) < back.n < equal < opens
    assert stands.expect_mbar == 31.0
    assert back.n < stands.n < equal
    # Where gas for the purge in is taken at this valve, the station has it again before.
    feeds = [p for p in option.purge.points if p.role == "feed"]
    vent = next(tapping for tapping in stop.tappings if tapping.role == "zone_vent")
    taken_here = any((p.main_id, p.chainage_m) == (vent.main_id, vent.chainage_m) for p in feeds)
    purge_in = next(step.n for step in option.steps if step.stage == Stage.PURGE_IN)
    assert taken_here
    assert back.n < purge_in


def test_a_station_shut_in_carries_nothing_anywhere(tmp_path: Path) -> None:
    frames = street_layers()
    plan = street_plan(frames)
    option = plan.options[0]
    assert option.shut_in == ("R1",)
    check = _step(option, Stage.STATIONS)
    carry = check.does.split(" that carr")[0]
    assert "R2" in carry
    assert "R1" not in carry
    assert "Shut in, carrying nothing: R1." in check.does
    # R2 carries all that is left: it alone can be lost.
    assert [loss.id for loss in option.losses if loss.what == "station"] == ["R2"]


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> tuple[Option, list[str], str]:
    """Return the option of the sample beside station RS-2, the pages of its work pack, and its map."""
    request = sample_request(WorkPart("M0185", 10.0, 11.5), "2026-06-16T08:00", 9.0)
    result = make_plan(replace(request, air_temp_c=16.0, options=1))
    folder = write_plan_folder(
        result, tmp_path_factory.mktemp("beside") / "plan", choices=Choices(words=WORDS)
    )
    pages = [" ".join(page.extract_text().split()) for page in PdfReader(folder / "work_pack.pdf").pages]
    return result.plan.options[0], pages, (folder / "map.html").read_text(encoding="utf-8")


def test_cover_schedule_and_map_of_the_sample_say_it(pack: tuple[Option, list[str], str]) -> None:
    option, pages, page = pack
    stop = next(stop for stop in option.stops if stop.valve_id == "V006")
    assert stop.barriers == 1
    cover = pages[0]
    assert f"1 only at {stop.id}" in cover
    assert (
        "valve V006 alone stands between the work and station RS-2 (outlet 31 mbar, 58 mbar in a fault)"
        in cover
    )
    assert NO_FALLBACK in cover
    assert cover.index("Read first") < cover.index("V006 alone") < cover.index("In this pack")
    schedule = next(text for text in pages if "Stop schedule" in text)
    assert re.search(rf"{stop.id} valve 1 M0185", schedule)
    told = next(text for text in pages if f"Stop {stop.id}: valve" in text)
    assert "alone stands between the work and station RS-2" in told
    assert NO_FALLBACK in told
    table = next(text for text in pages if "Stations after the stops" in text)
    assert re.search(r"RS-2 31\.0 mbar shut in: carries nothing", table)
    assert page.count("beside a station") == 1
    assert "alone stands between the work and station RS-2" in page
    assert '"shut in: carries nothing"' in page


def test_a_digest_of_before_these_columns_still_holds() -> None:
    bare, empty = street_layers(), street_layers(inlet_valve="", vent_between="unknown")
    digests = [build_network(frames, strict=False).content_sha256 for frames in (bare, empty)]
    assert digests[0] == digests[1]
    named = build_network(street_layers(vent_between="yes"), strict=False).content_sha256
    assert named != digests[0]


@pytest.mark.parametrize(
    ("columns", "rules"),
    [
        ({}, None),
        ({}, COUNTS),
        (RECORDED, None),
        (RECORDED | {"vent_between": "no"}, COUNTS),
        ({"od_mm": 315.0}, {"purge": {"stack_bores_mm": [25.0]}}),
    ],
    ids=["alone", "by rule", "by records", "records against the rule", "wide"],
)
def test_every_file_agrees_with_a_walk_of_the_raw_layers(
    columns: dict[str, Any], rules: dict[str, Any] | None, tmp_path: Path
) -> None:
    source, folder = tmp_path / "street.gpkg", tmp_path / "plan"
    write_layers(street_layers(**columns), source)
    request = PlanRequest(
        read_network(source), WORK, read_rules(None, overrides=rules or {}), weather=False, options=2
    )
    write_plan_folder(make_plan(request), folder, choices=Choices(words=WORDS))
    checked = check_folder(read_raw(source), folder)
    assert [str(one) for one in checked.found] == []
    assert checked.holds["station shut in"] == checked.holds["option"]
    is_inlet = columns is RECORDED or (not columns and rules is not None)
    assert bool(checked.holds["inlet of a station as a barrier"]) == is_inlet
    assert bool(checked.holds["nitrogen first"]) == ("od_mm" in columns)
