"""Papers and pages of a plan in US units: no metric figure is left in what people read."""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from netplan.core.errors import BadRulesError
from netplan.outputs.documents import call_and_tally_sheets, contact_call_sheet, letters, work_pack
from netplan.outputs.figures_for_rules import figures_for_plan, figures_for_rules
from netplan.outputs.layers import read_plan_layers
from netplan.outputs.map import plan_map
from netplan.outputs.notice_list import customers_in_doubt, notice_rows
from netplan.outputs.notice_workbook import write_notices_xlsx
from netplan.outputs.number_format import METRIC, US
from netplan.outputs.work_day.work_day_page import work_day_page
from netplan.planfile import read_state
from netplan.planfile.plan_json import read_plan
from netplan.rules import default_rules, read_rules
from tests.support.letters import words_for
from tests.support.metric_figures import metric_figures, page_texts, texts_of
from tests.support.sample_plan import sample_plan

STAYS = {
    "formulas": "published formulas and their sources, with their own constants",
    "origin": "digest and reference system of the network",
    "paper": "name of the size of paper",
}
"""Parts of a paper that keep metric figures, and why."""
RANKS = (1, 2, 3, 4, 5)


@pytest.fixture(scope="module")
def plan_and_layers() -> tuple[Any, Any]:
    folder = sample_plan()
    return read_plan(folder), read_plan_layers(folder)


@pytest.fixture
def set_papers(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """Collect what papers are set from, in place of setting them: PDF texts break at the ends of lines."""
    kept: list[dict[str, Any]] = []

    def keep(template: str, data: dict[str, Any], pictures: dict[str, str] | None = None) -> bytes:
        kept.append({"template": template, "data": data, "pictures": pictures or {}})
        return b""

    for module in (work_pack, call_and_tally_sheets, contact_call_sheet, letters):
        monkeypatch.setattr(module, "typeset", keep)
    return kept


def _texts(paper: dict[str, Any]) -> Iterator[tuple[str, str]]:
    for part, value in paper["data"].items():
        if part not in STAYS:
            yield from ((part, text) for text in texts_of(value))
    for name, svg in paper["pictures"].items():
        yield from ((name, text) for text in re.findall(r"<text[^>]*>([^<]*)</text>", svg))


@pytest.mark.parametrize("rank", RANKS)
def test_no_metric_figure_is_left_in_papers_and_pages(
    rank: int, plan_and_layers: tuple[Any, Any], set_papers: list[dict[str, Any]], tmp_path: Path
) -> None:
    plan, layers = plan_and_layers
    units = figures_for_plan(US, plan)
    state, option = read_state(layers, rank), plan.options[rank - 1]
    assert option.rank == rank
    rows = notice_rows(plan, state)
    work_pack.work_pack_pdf(plan, layers, state, units=units)
    call_and_tally_sheets.tally_pdf(plan, rows, option, units=units)
    call_and_tally_sheets.call_sheet_pdf(plan, rows, {}, customers_in_doubt(option), units=units)
    letters.letters_pdf(plan, rows, words_for(rows), paper=units.paper)
    assert [paper["template"] for paper in set_papers] == [
        "pack.typ",
        "tally.typ",
        "call_sheet.typ",
        "letters.typ",
    ]
    assert {paper["data"]["paper"] for paper in set_papers} == {"us-letter"}
    said = [(f"{paper['template']}: {part}", text) for paper in set_papers for part, text in _texts(paper)]
    assert len(said) > 500
    page = work_day_page(plan, option=rank, units=units)
    said += [("work_day.html", text) for text in page_texts(page)]
    write_notices_xlsx(tmp_path / "notices.xlsx", plan, rows, rank, (), units)
    book = openpyxl.load_workbook(tmp_path / "notices.xlsx", read_only=True)
    said += [
        (f"notices.xlsx: {sheet.title}", cell)
        for sheet in book
        for row in sheet.iter_rows(values_only=True)
        for cell in row
        if isinstance(cell, str)
    ]
    left = [(where, found, text[:160]) for where, text in said if (found := metric_figures(text))]
    assert not left


def test_no_metric_figure_is_left_on_the_map(plan_and_layers: tuple[Any, Any]) -> None:
    plan, layers = plan_and_layers
    states = [read_state(layers, rank) for rank in RANKS]
    said = list(page_texts(plan_map(plan, layers, states, units=US)))
    assert any("in. w.c." in text for text in said)
    assert not [(found, text[:160]) for text in said if (found := metric_figures(text))]


def test_the_rule_finds_what_metric_papers_say(
    plan_and_layers: tuple[Any, Any], set_papers: list[dict[str, Any]]
) -> None:
    plan, layers = plan_and_layers
    work_pack.work_pack_pdf(plan, layers, read_state(layers, 1), units=METRIC)
    found = [one for _, text in _texts(set_papers[0]) for one in metric_figures(text)]
    units = {one.split(" ")[-1] for one in found}
    assert {"mbar", "m", "mm", "m³", "m³/h", "m/s", "°C", "kg", "l/min"} <= units
    assert len(found) > 500


def test_templates_say_no_unit_themselves() -> None:
    folder = resources.files("netplan.outputs").joinpath("templates")
    found = {}
    for item in folder.iterdir():
        if item.name.endswith(".typ"):
            said = re.findall(r"\[([^\[\]]*)\]", item.read_text(encoding="utf-8"))
            found[item.name] = [
                one for text in said for one in re.findall(r"\d (?:mbar|m³|mm|m|°C|kg|km)\b", text)
            ]
    assert len(found) > 5
    assert not {name: one for name, one in found.items() if one}


def test_flows_and_volumes_are_at_the_base_of_the_rules() -> None:
    rules = read_rules(None, {"gas": {"us_base_temp_c": "60 °F", "us_base_mbar_abs": "14.73 psi"}})
    assert "us_base" not in str(default_rules().values())
    with pytest.raises(BadRulesError, match="or neither"):
        read_rules(None, {"gas": {"us_base_temp_c": "60 °F"}})
    units = figures_for_rules(US, rules.values())
    assert units.reference == "60 °F, 14.73 psia"
    assert figures_for_rules(US, default_rules().values()).reference == "59 °F, 14.696 psia"
    assert figures_for_rules(METRIC, rules.values()) is METRIC
    # Ideal gas: p1/p2 · T2/T1; the real gas differs from it by the ratio of its Z, 1e-5.
    ideal = 101.325 / (14.73 * 6.894757293) * (519.67 / 1.8) / 288.15
    assert units.kind("volume").share == pytest.approx(ideal, abs=2e-5)
    assert units.kind("flow").share == units.kind("volume").share
    assert units.kind("space").share == 1.0
    volume_m3 = 1005.2 * 0.3048**3  # the base is on the other side of a rounding
    assert (US.text("volume", volume_m3), units.text("volume", volume_m3)) == ("1010 ft³", "1000 ft³")
    assert units.sentence(f"{volume_m3:.5g} m³ and {volume_m3:.3f} m³ in the pipe").endswith(
        "1005.2 ft³ in the pipe"
    )
    assert units.sentence("V at 15 °C, 101.325 kPa") == "V at 60 °F, 14.73 psia"


def test_sizes_are_nominal_where_there_is_a_name() -> None:
    assert [US.bore(mm) for mm in (25.0, 38.0, 51.0, 50.0, 33.0, 102.0, None)] == [
        "1 in",
        "1-1/2 in",
        "2 in",
        "2 in",
        "1.30 in",
        "4 in",
        "–",
    ]
    sizes = [US.hose_sizes(text) for text in ("38 mm", "2 × 51 mm", "as planned", "60 mm")]
    assert sizes == ["1-1/2 in", "2 × 2 in", "as planned", "2.36 in"]
    assert METRIC.hose_sizes("2 × 51 mm") == "2 × 51 mm"
    assert METRIC.bore(51.0) == METRIC.size(51.0) == "51.0 mm"
    assert US.pipe(114.3) == "4 in IPS (OD 4.50 in)"
    assert US.pipe(28.575) == "1 in CTS (OD 1.13 in)"
    assert US.pipe(125.0) == "4.92 in"
    assert METRIC.pipe(114.3) == "114.3 mm"
    assert (US.rating(4000.0), US.rating(69.0)) == ("58.0 psi", "27.70 in. w.c.")


SENTENCES = (
    (
        "18.999 mbar at the worst inlet, 19.000 mbar needed",
        "7.6274 in. w.c. at the worst inlet, 7.6278 in. w.c. needed",
    ),
    (
        "fault pressure 58 mbar within the rating 69 mbar",
        "fault pressure 23.28 in. w.c. within the rating 27.70 in. w.c.",
    ),
    ("no meter above 75 mbar", "no meter above 30.10 in. w.c."),
    ("alone, rated for 4000 mbar", "alone, rated for 58.0 psi"),
    (
        "bag stop serves 110 to 315 mm, this main has 63 mm",
        "bag stop serves 4.33 to 12.40 in, this main has 2.48 in",
    ),
    ("flow reverses in 252 m of main", "flow reverses in 827 ft of main"),
    ("M0142 at 85.70 m", "M0142 at 281.17 ft"),
    ("bores of 2 × 51 mm", "bores of 2 × 2 in"),
    ("51 mm", "2.01 in"),
    ("bore 102.2 mm instead of 104.1 mm", "bore 4.024 in instead of 4.098 in"),
    ("no size goes through its outlets of 51 mm", "no size goes through its outlets of 2 in"),
    ("down to 20.63 mbar at C1", "down to 8.282 in. w.c. at C1"),
    ("it holds down to −8.7 °C", "it holds down to 16.4 °F"),
    ("less than 0.5 m from the work", "less than 1.7 ft from the work"),
    ("no nearer than 10 ft (3.0 m) from vents", "no nearer than 10 ft from vents"),
    ("28.97 ± 0.40 mbar", "11.630 ± 0.160 in. w.c."),
    ("set to 22 and 27 mbar", "set to 8.83 and 10.84 in. w.c."),
    ("takes 0.4 l/min", "takes 0.848 ft³/h"),
    ("18,000 kWh a year", "614 therms a year"),
    ("1,234 m away", "4,049 ft away"),
)


@pytest.mark.parametrize(("metric", "us"), SENTENCES)
def test_sentences_of_planning_in_us_units(metric: str, us: str) -> None:
    assert METRIC.sentence(metric) == metric
    assert US.sentence(metric) == us
    assert not metric_figures(us)


@pytest.mark.parametrize(
    "kept",
    ["M-5 m", "12 mains", "S1: 12:00", "A.5 mm", "no figure", "SDR 11", "24 meters", "remark '40 m' stays"],
)
def test_what_is_no_figure_of_a_sentence_stays(kept: str) -> None:
    assert US.sentence(kept) == kept
