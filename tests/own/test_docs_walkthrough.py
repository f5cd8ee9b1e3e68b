"""A newcomer with the pages alone: every marked block runs word for word, in order, in an empty folder (own)."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pytest
import shapely

from netplan.planfile.plan_json import read_plan
from tests.support.docs_pages import DOCS, Block, blocks
from tests.support.docs_reader import SAMPLE_PAGES, Reader


@pytest.fixture(scope="module")
def reader(tmp_path_factory: pytest.TempPathFactory) -> Reader:
    return Reader(tmp_path_factory.mktemp("newcomer"))


@pytest.mark.slow
def test_the_pages_on_the_sample_run_word_for_word(reader: Reader) -> None:
    for page in SAMPLE_PAGES:
        assert {block.story for block in blocks(page) if isinstance(block, Block)} == {"sample"}
        reader.follow(page)
    said = reader.printed
    assert set(said) == set(SAMPLE_PAGES)
    shown = [(page, screen.text, printed) for page, of in reader.screens.items() for screen, printed in of]
    assert shown
    for page, text, printed in shown:
        assert text == printed, f"{page}: write its screens anew with python -m tests.docs_screens"
    home = reader.home
    assert len(read_plan(home / "plan-a").options) == 5
    for name in ("map.html", "work_pack.pdf", "notices.xlsx", "tally_sheet.pdf"):
        assert (home / "plan-a" / name).stat().st_size > 1000, name
    assert not (home / "plan-a" / "letters.pdf").exists(), "the shipped words have no sender"
    assert (home / "plan-a" / "call_sheet_restricted.pdf").is_file()
    assert not (home / "plan-none").exists()
    for name in ("emergency.html", "emergency.pdf", "emergency.json"):
        assert (home / "hit-a" / name).stat().st_size > 1000, name
    for name in ("papers-2", "letters-de"):
        assert (home / name / "letters.pdf").is_file()
        # The page says that the restricted sheet is not made again.
        assert not (home / name / "call_sheet_restricted.pdf").exists()
    assert sorted(path.suffix for path in (home / "pictures").iterdir())
    first, second = (
        {(s.main_id, s.chainage_m) for s in read_plan(home / name).options[0].stops if s.kind != "valve"}
        for name in ("plan-first", "plan-second")
    )
    assert first
    assert not first & second
    # What the pages claim of these stops: two lay in the area that nobody may dig in, none does any more.
    junction = gpd.read_file(home / "junction.geojson").union_all()
    inside = []
    for name in ("plan-a", "plan-b"):
        stops = gpd.read_file(home / name / "plan.gpkg", layer="stops").to_crs("EPSG:4326")
        best = stops[stops["option"] == 1]
        inside.append(int(shapely.contains(junction, best.geometry.array).sum()))
    assert inside == [2, 0]
    a, b = (read_plan(home / name).options[0] for name in ("plan-a", "plan-b"))
    assert b.burden > a.burden
    forced = read_plan(home / "plan-forced").options[0]
    assert any(s.main_id == "M0142" and abs(s.chainage_m - 170.0) < 3.0 for s in forced.stops)
    assert "Result" in said["start-engineer.md"]
    assert "burden" in said["how-to-explain.md"]


def test_a_mapped_export_is_planned_word_for_word(reader: Reader) -> None:
    reader.copy_export()
    reader.follow("walkthrough.md")
    draft = (reader.home / "draft.toml").read_text(encoding="utf-8")
    # What the page says the draft leaves open.
    assert "?" in draft
    plan = read_plan(reader.home / "plan-ring")
    best = plan.options[0]
    assert len(best.stops) == 2
    assert {stop.main_id for stop in best.stops} == {"L3"}
    off = [customer for customer in best.customers if customer.effect == "off"]
    assert 1 <= len(off) < 10
    assert plan.conditions.start == "2027-03-09T07:00"


def test_the_export_is_what_its_script_writes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import importlib.util

    spec = importlib.util.spec_from_file_location("make_export", DOCS / "_build" / "make_export.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    monkeypatch.setattr(module, "OUT", tmp_path)
    module.main()
    kept = {path.name: path.read_bytes() for path in (DOCS / "data" / "export").iterdir()}
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == kept
