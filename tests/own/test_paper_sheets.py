"""Sheets of the work pack: their figures are those of the plan, and they name nothing that it does not hold."""

from __future__ import annotations

import io
import math
import re
from functools import cache
from xml.etree import ElementTree as ET

import pypdf
import pytest

from netplan.outputs.documents.bypass_kit_list import kit_rows
from netplan.outputs.documents.call_and_tally_sheets import tally_pdf
from netplan.outputs.documents.let_by_sheet import let_by_part
from netplan.outputs.documents.loss_sheet import LEAVE, loss_sheet_part
from netplan.outputs.documents.readings_table import readings_part
from netplan.outputs.documents.step_list_table import step_list_part
from netplan.outputs.documents.stop_sheets import bag_part, squeeze_part
from netplan.outputs.documents.tappings_list import tappings_part
from netplan.outputs.documents.timeline_drawing import timeline_drawing, timeline_part
from netplan.outputs.documents.work_pack import work_pack_pdf
from netplan.outputs.documents.work_pack_cover import no_fallback_lines
from netplan.outputs.item_words import change_words, clock, joined_ids, manned_words, need_words, states_after
from netplan.outputs.layers import plan_layers
from netplan.outputs.notice_list import notice_rows
from netplan.outputs.number_format import METRIC, US
from netplan.planfile.model import Option, Plan
from tests.support.order_plans import complete_result
from tests.support.plans import hamlet_result


def _plan() -> Plan:
    return complete_result().plan


def _option() -> Option:
    return _plan().options[0]


@cache
def _pages(rank: int = 1, *, complete: bool = True) -> tuple[str, ...]:
    result = complete_result() if complete else hamlet_result()
    pdf = work_pack_pdf(result.plan, plan_layers(result), result.states[rank - 1])
    with pypdf.PdfReader(io.BytesIO(pdf)) as reader:
        return tuple(re.sub(r"[\u200b\u00ad]", "", page.extract_text()) for page in reader.pages)


def _page(title: str) -> str:
    """Return the pages from a title on to the next one that begins otherwise, blanks put together."""
    found = [page for page in _pages() if title in page]
    assert found, title
    return re.sub(r"\s+", " ", " ".join(found))


def _drawing(option: Option) -> ET.Element:
    """Return the timeline as the elements of its SVG; it is our own."""
    return ET.fromstring(timeline_drawing(option, _plan().conditions) or "")  # noqa: S314


def _squeezed(text: str) -> str:
    return re.sub(r"[\s\u2010-]+", "", text)


def test_the_loss_sheet_is_one_page_right_after_the_cover() -> None:
    assert [k for k, page in enumerate(_pages()) if "Loss sheet" in page] == [1]
    page = re.sub(r"\s+", " ", _pages()[1])
    for row in _option().loss_sheet:
        for words in (row.what, row.action, row.who, *row.act_on):
            assert _squeezed(words) in _squeezed(page), words
    # Once above the table, and in each row of the cut main.
    assert page.count(LEAVE) == 1 + sum(row.leave for row in _option().loss_sheet)
    assert page.count("at once") == 2
    assert "escapes 53.7 m³/h" in page
    assert "17.8 mbar" in page


def test_rows_of_one_failure_stand_together_with_the_states_they_are_for() -> None:
    option = _option()
    first = option.loss_sheet[0]
    before = first.model_copy(
        update={"id": "L9", "state": "before the cut", "leave": False, "note": "n1; n2"}
    )
    other = first.model_copy(update={"id": "L8", "state": "gas back in", "action": "another way"})
    changed = option.model_copy(update={"loss_sheet": (before, first, other)})
    (failure,) = loss_sheet_part(changed, complete_result().states[0].customers, METRIC)["loss-sheet"]
    assert [row["state"] for row in failure["rows"]] == ["main cut; before the cut", "gas back in"]
    assert [row["leave-if"] for row in failure["rows"]] == ["main cut: ", ""]
    assert failure["rows"][0]["note"] == "before the cut: n1; before the cut: n2"


def test_doors_of_the_loss_sheet_are_those_of_the_rows() -> None:
    doors = loss_sheet_part(_option(), complete_result().states[0].customers, METRIC)["doors"]
    rows = {row.customers for row in _option().loss_sheet if row.customers}
    assert sorted(int(one["count"]) for one in doors) == sorted(len(ids) for ids in rows)
    assert doors[0]["doors"] == "Mill Close 7–11"


def test_more_than_a_minute_is_said_and_less_is_at_once() -> None:
    option = _option()
    slow = option.loss_sheet[0].model_copy(update={"at_once": False, "seconds": 150.0})
    part = loss_sheet_part(
        option.model_copy(update={"loss_sheet": (slow,)}), complete_result().states[0].customers, METRIC
    )
    assert part["loss-sheet"][0]["rows"][0]["soon"] == "after 2.5 min"


def test_the_step_list_gives_the_readings_of_the_plan() -> None:
    page = _page("Step list") + _page("signature, time")
    reads = [reading for step in _option().steps for reading in step.readings]
    assert len(reads) == 5
    for reading in reads:
        assert f"{reading.expect_mbar:.2f} ± {reading.band_mbar:.2f}" in page
        assert reading.warning_mbar is not None
        assert f"warning {math.ceil(round(reading.warning_mbar * 100, 6)) / 100:.2f}" in page
        assert reading.abort_mbar is not None
        assert f"abort low {math.ceil(round(reading.abort_mbar * 100, 6)) / 100:.2f}" in page
    assert ", high 74.90" in page
    assert ", high –" in page


def test_a_hold_has_room_for_a_signature_and_needs_stand_in_words() -> None:
    part = step_list_part(_option(), _plan().conditions, METRIC)
    assert [step["hold"] for step in part["steps"]] == [step.hold for step in _option().steps]
    stop_in = part["steps"][6]
    assert stop_in["needs"] == "T1–T6 drilled"
    assert stop_in["changes"] == "S1-outer, S1-inner proved → set"
    assert part["steps"][5]["changes"] == "8 meter points on → sealed"
    assert part["steps"][3]["tests"] == ["feed, 103.0 mbar for 17 min with air"]
    page = " ".join(_pages())
    assert page.count("HOLD ") >= sum(step.hold for step in _option().steps)


def test_bands_and_limits_are_never_wider_on_paper() -> None:
    option = _option()
    reading = (
        option.steps[6]
        .readings[0]
        .model_copy(
            update={
                "band_mbar": 0.239,
                "warning_mbar": 22.411,
                "abort_mbar": 21.001,
                "abort_high_mbar": 74.909,
            }
        )
    )
    step = option.steps[6].model_copy(update={"readings": (reading,)})
    changed = option.model_copy(update={"steps": (step,)})
    (row,) = step_list_part(changed, _plan().conditions, METRIC)["steps"][0]["readings"]
    assert row[2:] == ["0.23", "22.42", "21.01", "74.90", ""]
    # The next step with the same reading names the step where its limits stand.
    again = option.model_copy(update={"steps": (step, step.model_copy(update={"n": 99}))})
    rows = [one["readings"] for one in step_list_part(again, _plan().conditions, METRIC)["steps"]]
    assert [cells[6] for readings in rows for cells in readings] == ["", str(step.n)]


def test_readings_stand_by_air_temperature_and_hour() -> None:
    page = _page("Readings by air temperature and hour")
    for step in _option().steps:
        for reading in step.readings:
            for row in reading.by_weather:
                assert f"{row.expect_mbar:.2f}" in page
    part = readings_part(_option(), METRIC)
    assert part["reading-hours"] == ["08–09", "11–12", "14–15"]
    assert [gauge["id"] for gauge in part["readings"]] == ["G1", "G2"]
    block = part["readings"][0]["blocks"][0]
    assert block["states"] == "normal running, no stops"
    assert [row[0] for row in block["rows"]] == ["−8.0 °C", "0.0 °C", "8.0 °C"]
    assert block["rows"][1] == ["0.0 °C", "24.72", "24.75", "24.78"]


def test_readings_that_are_alike_stand_once() -> None:
    option = _option()
    steps = tuple(step for step in option.steps if step.n in (3, 5))
    again = steps[1].model_copy(update={"readings": steps[0].readings})
    part = readings_part(option.model_copy(update={"steps": (steps[0], again)}), METRIC)
    (block,) = part["readings"][0]["blocks"]
    assert (block["states"], block["steps"]) == ("normal running, no stops; B1 open", "3, 5")


def test_a_plan_without_weather_has_readings_without_a_table() -> None:
    option = _option()
    steps = tuple(
        step.model_copy(
            update={"readings": tuple(r.model_copy(update={"by_weather": ()}) for r in step.readings)}
        )
        for step in option.steps
    )
    part = readings_part(option.model_copy(update={"steps": steps}), METRIC)
    assert part["reading-hours"] == []
    assert part["readings"][0]["blocks"][0]["rows"] == []


def test_the_timeline_has_a_bar_for_each_step_of_the_day_at_its_place() -> None:
    option = _option()
    assert option.timeline is not None
    root = _drawing(option)
    space = {"s": "http://www.w3.org/2000/svg"}
    bars = [bar for bar in option.timeline.bars if bar.day == "day"]
    shapes = [shape for shape in root.findall("s:rect", space) if shape.get("fill") != "white"]
    assert len(shapes) == len(bars)
    assert sum(shape.get("fill") == "#d55e00" for shape in shapes) == sum(bar.critical for bar in bars)
    texts = ["".join(text.itertext()) for text in root.findall("s:text", space)]
    assert {str(bar.n) for bar in bars} <= set(texts)
    assert {bar.crew for bar in bars} <= set(texts)
    assert "LATEST TIME TO CUT 15:11" in texts
    wide = sorted(float(shape.get("width") or 0) for shape in shapes)
    minutes = sorted(bar.end_min - bar.start_min for bar in bars)
    assert wide[-1] / wide[0] == pytest.approx(minutes[-1] / minutes[0], rel=0.01)


def test_bars_of_one_crew_that_overlap_stand_below_each_other() -> None:
    option = _option()
    assert option.timeline is not None
    bar = next(bar for bar in option.timeline.bars if bar.day == "day")
    two = (bar, bar.model_copy(update={"n": 99}))
    one = option.model_copy(update={"timeline": option.timeline.model_copy(update={"bars": two[:1]})})
    both = option.model_copy(update={"timeline": option.timeline.model_copy(update={"bars": two})})
    high = [float(_drawing(each).get("height", "")[:-2]) for each in (one, both)]
    assert high[1] > high[0]


def test_text_in_the_timeline_is_data() -> None:
    option = _option()
    assert option.timeline is not None
    bars = (option.timeline.bars[2].model_copy(update={"crew": '</text><script x="&">'}),)
    hostile = option.model_copy(update={"timeline": option.timeline.model_copy(update={"bars": bars})})
    assert '</text><script x="&">' in ["".join(text.itertext()) for text in _drawing(hostile)]


def test_table_and_cover_take_their_hours_from_the_timeline() -> None:
    part = timeline_part(_option(), _plan().conditions)["timeline"]
    facts = dict(part["facts"])
    assert facts["latest time to cut"] == "15:11"
    assert facts["crew's day ends"] == "20:00, 123 min left"
    by_n = {row["n"]: row for row in part["rows"]}
    assert (by_n["1"]["day"], by_n["1"]["from"]) == ("earlier day", "")
    assert by_n["4"]["critical"] is False
    assert [row["n"] for row in part["rows"]][:2] == ["1", "2"]
    cover = re.sub(r"\s+", " ", _pages()[0])
    assert "latest time to cut 15:11: HOLD" in cover
    assert f"standby {len(_option().standby)} meter points" in cover


def test_a_time_of_another_day_says_so() -> None:
    conditions = _plan().conditions
    assert clock(conditions, 0.0) == "08:00"
    assert clock(conditions, 16 * 60 + 5) == "00:05 +1 d"
    assert clock(conditions, -481.0) == "23:59 −1 d"
    assert clock(conditions.model_copy(update={"start": None}), 90.0) == "09:30"


def test_let_by_tests_say_what_is_open_and_where_the_meter_stands() -> None:
    rows = {row["name"]: row for row in let_by_part(_option(), METRIC)["let-by"]}
    assert list(rows) == ["T0", "T1", "T2"]
    assert rows["T0"]["shows"] == "sum of S1-inner, S2-inner"
    assert rows["T0"]["meter"] == "no meter"
    assert rows["T1"]["meter"] == "S1-vent, vent between the barriers of S1"
    assert rows["T1"]["limit"] == "5 l/min; 0.50 mbar"
    assert rows["T2"]["across"] == "23.3 mbar"
    assert rows["T2"]["resolution"] == "0.1 l/min"
    assert {row["open"] for row in rows.values()} == {"B1-from, B1-to"}
    page = _page("Let-by tests")
    for row in rows.values():
        assert _squeezed(row["meter"]) in _squeezed(page)


def test_steps_say_what_they_are_held_against() -> None:
    option = _option()
    steps = step_list_part(option, _plan().conditions, METRIC)["steps"]
    assert steps[8]["solved"] == ["T1: limit 5 l/min; 0.50 mbar, for 5 min, 23.4 mbar across"]
    step = option.steps[0].model_copy(
        update={"expect_mbar": 21.98, "expect_at": "C0140", "across_mbar": 0.518}
    )
    changed = option.model_copy(update={"steps": (step, step.model_copy(update={"expect_at": "S1"}))})
    first, second = step_list_part(changed, _plan().conditions, METRIC)["steps"]
    assert first["solved"] == [
        "least kept inlet, as solved: 21.9 mbar at C0140",
        "across the barrier, as solved: 0.52 mbar",
    ]
    assert second["solved"][0] == "live side of S1: 22.0 mbar"


def test_squeezes_are_as_far_from_fittings_as_the_plan_says() -> None:
    option = _option()
    stop = option.stops[1]
    tappings = tuple(
        one.model_copy(update={"fitting_m": 1.1, "fitting": "tapping tee F1", "mark_m": 4.2})
        if one.role == "barrier"
        else one
        for one in stop.tappings
    )
    stops = (option.stops[0], stop.model_copy(update={"tappings": tappings}))
    rows = squeeze_part(_plan(), option.model_copy(update={"stops": stops}), METRIC)["squeezes"]
    assert rows[0]["fitting"] == "1.10 m to tapping tee F1"
    assert rows[0]["other"] == "1.20 m to S2-outer; 4.20 m to an earlier squeeze on record"


def test_states_follow_the_steps() -> None:
    option = _option()
    assert states_after(option, ())["tapping", "T1"] == "planned"
    assert states_after(option, option.steps[:2])["tapping", "T1"] == "drilled"
    assert states_after(option, option.steps)["place", "H1"] == "filled"


def test_squeezes_stand_beside_the_rules_and_the_nearest_other_one() -> None:
    rows = squeeze_part(_plan(), _option(), METRIC)["squeezes"]
    assert [row["id"] for row in rows] == ["S2-inner", "S2-outer"]
    # 125 mm outside: 3 × OD is 0.375 m, 6 × OD 0.75 m.
    assert {row["fitting-rule"] for row in rows} == {"0.38 m (3 × OD, at least 0.30 m)"}
    assert {row["squeeze-rule"] for row in rows} == {"0.75 m (6 × OD, at least 0.60 m)"}
    assert rows[0]["other"] == "1.20 m to S2-outer"
    page = _page("Squeeze sheet")
    for words in ("gap of the tool", "rate of closing", "rate of release", "re-rounded", "earthed"):
        assert words in page


def test_bags_have_bore_outlet_and_pressures() -> None:
    rows = bag_part(_plan(), _option(), METRIC)["bags"]
    assert [row["id"] for row in rows] == ["S1-inner", "S1-outer"]
    assert rows[0]["place"] == "M-TAIL at 8.00 m"
    assert rows[1]["place"] == "M-TAIL at 6.80 m"
    assert {(row["bore"], row["outlet"], row["against"], row["fault"], row["rating"]) for row in rows} == {
        ("110.2 mm", "51.0 mm", "23.8 mbar", "50.0 mbar", "69.0 mbar")
    }


def test_the_kit_list_holds_the_test_and_the_volume() -> None:
    option = _option()
    rows = dict(kit_rows(option, option.bypasses[0], METRIC))
    assert rows["tightness test"] == "103.0 mbar for 17 min with air"
    assert rows["end valves"] == "2: one at either end"
    # π/4 · 0.051² · 68 = 0.1389 m³
    assert rows["volume in the pipe"] == "0.139 m³"
    assert rows["at B1-from"] == "manned in steps 5; name:"


def test_coupons_and_caps_are_the_tappings() -> None:
    part = tappings_part(_option(), METRIC)
    ids = [item.id for item in _option().items if item.kind == "tapping"]
    assert [row["id"] for row in part["tappings"]] == ids
    assert part["tappings-total"] == str(len(ids))
    assert {(row["drilled"], row["capped"]) for row in part["tappings"]} == {("2", "14")}
    assert f"must be: {len(ids)}" in _page("Tappings and what stands on them")


def test_sheets_name_no_item_that_the_plan_does_not_hold() -> None:
    option = _option()
    known = {item.id for item in option.items} | {stop.id for stop in option.stops}
    known |= {gauge.id for gauge in option.gauges} | {point.id for point in option.purge.points}
    known |= {"T0", "T1", "T2"} | {"D1", "D2"}  # let-by tests, lists of doors
    named = set(re.findall(r"\b(?:[STBHGPVFDZ]\d{1,3}(?:-[a-z]+)*)\b", " ".join(_pages())))
    assert named
    assert named <= known


def test_an_option_with_one_valve_has_no_sheets_of_bags_squeezes_or_tests() -> None:
    text = " ".join(_pages(rank=2))
    for title in (
        "Loss sheet",
        "Timeline",
        "Squeeze sheet",
        "Bag sheet",
        "Let-by tests",
        "Tappings and what",
    ):
        assert title not in text
    assert "Step list" in text


def test_a_plan_of_an_older_version_still_prints() -> None:
    text = " ".join(_pages(complete=False))
    assert "Step list" in text
    assert "Squeeze sheet" in text
    assert "Bag sheet" in text
    for title in ("Loss sheet", "Timeline", "Readings by air", "Let-by tests", "Tappings and what"):
        assert title not in text


def test_the_cover_says_which_stop_has_no_fallback() -> None:
    option = _option()
    assert no_fallback_lines(option) == ["S2: no fallback is planned"]
    assert "S2: no fallback is planned" in re.sub(r"\s+", " ", _pages()[0])
    none = option.fallback[1].model_copy(update={"minutes": None, "note": "no fallback: main ends there"})
    changed = option.model_copy(update={"fallback": (option.fallback[0], none)})
    assert no_fallback_lines(changed)[0] == "S1: no fallback if it is lost during open work: main ends there"


def test_the_tally_has_columns_for_what_is_written_at_the_door() -> None:
    result = complete_result()
    rows = notice_rows(result.plan, result.states[0])
    with pypdf.PdfReader(io.BytesIO(tally_pdf(result.plan, rows, _option()))) as reader:
        text = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in reader.pages))
    for words in ("isolated at", "seal number", "tightness", "appliances relit", "second visit"):
        assert words in text
    relight = next(step for step in _option().steps if step.stage == "relight")
    bar = next(bar for bar in _option().timeline.bars if bar.n == relight.n)  # type: ignore[union-attr]
    assert f"{clock(_plan().conditions, bar.start_min)} to {clock(_plan().conditions, bar.end_min)}" in text


def test_ids_that_follow_each_other_are_a_range() -> None:
    assert joined_ids(["T1", "T2", "T3", "T5", "S1-vent", "V011"]) == "T1–T3, T5, S1-vent, V011"
    assert joined_ids(["S1-vent", "S2-vent", "S3-vent"]) == "S1-vent–S3-vent"
    assert joined_ids(["B1-from", "B1-to"]) == "B1-from, B1-to"
    assert manned_words(["B1-from", "B1-to", "S2-inner", "S2-outer", "S4-single", "S1-inner"]) == (
        "S2 (both barriers), B1 (both ends), S4-single, S1-inner"
    )
    assert need_words(()) == change_words(()) == ""


def test_readings_in_us_units_keep_their_order() -> None:
    part = readings_part(_option(), US)
    assert part["reading-unit"] == "in. w.c."
    expect, band, _, low, _ = part["readings"][0]["blocks"][0]["cells"]
    assert float(low) < float(expect) - float(band)
