"""Three exports of invented companies, from raw files to a plan by `docs/how-to-own-data.md` word by word.

What each layer, column and word means is known to the script that wrote the export (`tests/first_hour`).
"""

from __future__ import annotations

import hashlib
import os
import warnings
from pathlib import Path

import pytest

from netplan.network.raw_layers import as_objects
from netplan.network.work_section import WorkPart
from netplan.planfile.model import Option
from netplan.planfile.plan_json import read_plan
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import open_source, read_layers, read_network
from netplan.readers.mapping import parse_mapping
from netplan.readers.mapping.draft_mapping import draft_mapping
from netplan.rules import read_rules
from tests.first_hour import EXPORTS
from tests.first_hour.compared import wrong_in_draft
from tests.first_hour.export import Export
from tests.first_hour.misread import misread
from tests.first_hour.town import WORK
from tests.first_hour.truth import true_lists, write_true_town
from tests.first_hour.walk import Hour, first_hour, page_commands

SEED = int(os.environ.get("NETPLAN_SEED", "1"))
MOST_EDITS = {"dutch": (10, 1), "french": (19, 5), "american": (14, 0)}
"""Lines that a person edits before the first check, and after it: the draft may get better, never worse."""


@pytest.fixture(scope="module")
def hours(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Hour]:
    """Follow the page once for each export."""
    home = tmp_path_factory.mktemp("first_hour")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the writer, about widths of dBase columns
        return {name: first_hour(name, SEED, home / name) for name in EXPORTS}


def test_the_page_names_the_three_commands() -> None:
    assert list(page_commands()) == ["map-columns", "check", "plan"]


@pytest.mark.parametrize("name", EXPORTS)
def test_each_layer_column_and_word_of_the_draft_is_right_or_asked_for(
    hours: dict[str, Hour], name: str
) -> None:
    hour = hours[name]
    assert hour.steps["draft"].exit_code == 0
    assert wrong_in_draft(hour.draft, hour.export) == []


@pytest.mark.parametrize("name", EXPORTS)
def test_few_lines_are_edited(hours: dict[str, Hour], name: str) -> None:
    assert tuple(a <= b for a, b in zip(hours[name].edits, MOST_EDITS[name], strict=True)) == (True, True)
    assert sum(hours[name].edits) > 0


@pytest.mark.parametrize("name", EXPORTS)
def test_a_draft_with_its_questions_open_stops_a_plan(hours: dict[str, Hour], name: str) -> None:
    assert hours[name].steps["check the draft"].exit_code == 2
    assert "mapping-gap" in {row["code"] for row in hours[name].findings["check the draft"]}


@pytest.mark.parametrize("name", EXPORTS)
def test_every_planted_detail_is_told_by_feature_or_asked_for(hours: dict[str, Hour], name: str) -> None:
    hour = hours[name]
    told: dict[str, list[str]] = {"draft": hour.draft.splitlines()}
    for step in ("check", "check again"):
        for row in hour.findings[step]:
            line = f"{row['layer']} {row['feature_id']}: {row['what']}"
            told.setdefault(f"{row['code']} {step}", []).append(line)
    missed = []
    for planted in hour.export.planted:
        code = planted.code if planted.code == "draft" else f"{planted.code} {_step(planted.mended)}"
        if not any(all(part in line for part in planted.says) for line in told.get(code, ())):
            missed.append(planted)
        if planted.mended:
            assert f"{planted.code} check again" not in told, "it is mended by then"
    assert missed == []
    assert len(hour.export.planted) >= 20


def _step(mended: bool) -> str:
    return "check" if mended else "check again"


@pytest.mark.parametrize("name", EXPORTS)
def test_what_blocks_is_mended_as_the_page_says_and_the_data_is_read_as_it_is_true(
    hours: dict[str, Hour], name: str
) -> None:
    hour = hours[name]
    blocks = any(planted.mended for planted in hour.export.planted)
    assert hour.steps["check"].exit_code == (2 if blocks else 0)
    assert hour.steps["check again"].exit_code == 0
    assert misread(hour.export, str(hour.home / "mapping.toml")) == []


@pytest.fixture(scope="module")
def true_options(hours: dict[str, Hour], tmp_path_factory: pytest.TempPathFactory) -> tuple[Option, ...]:
    """Return the options for the town itself, in the words of the contract and with nothing wrong in it.

    The towns of the exports differ in the names of their streets alone.
    """
    place = write_true_town(hours["dutch"].export, tmp_path_factory.mktemp("true") / "true.gpkg")
    request = PlanRequest(read_network(place), (WorkPart(*WORK),), read_rules(None), weather=False)
    return tuple(make_plan(request).plan.options)


@pytest.mark.parametrize("name", EXPORTS)
def test_the_plan_has_the_lists_of_the_true_town(
    hours: dict[str, Hour], name: str, true_options: tuple[Option, ...]
) -> None:
    hour = hours[name]
    assert hour.steps["plan"].exit_code == 0
    options = read_plan(hour.home / "plan-a").options
    ids = hour.export.ids
    assert len(options) == len(true_options)
    for ours, theirs in zip(options, true_options, strict=True):
        assert [stop.main_id for stop in ours.stops] == [ids["mains"][stop.main_id] for stop in theirs.stops]
        # The grids of the exports differ from true lengths by up to a thousandth.
        assert [stop.chainage_m for stop in ours.stops] == pytest.approx(
            [stop.chainage_m for stop in theirs.stops], rel=1.5e-3, abs=0.11
        )
        assert {(c.id, c.effect) for c in ours.customers} == {
            (ids["customers"][c.id], c.effect) for c in theirs.customers
        }


@pytest.mark.parametrize("name", EXPORTS)
def test_the_lists_are_those_of_a_walk_of_the_true_town(hours: dict[str, Hour], name: str) -> None:
    hour = hours[name]
    options = read_plan(hour.home / "plan-a").options
    assert len(options) >= 1
    for option in options:
        without, off = true_lists(hour.export, option)
        assert {row.id for row in option.customers} >= without
        assert {row.id for row in option.customers if row.effect == "off"} == off
        assert without
        assert off
        assert any(row.priority for row in option.customers), "the care home beyond the work"


@pytest.mark.parametrize("name", EXPORTS)
def test_the_same_seed_writes_the_same_export_and_another_one_another(name: str, tmp_path: Path) -> None:
    def content(seed: int, place: Path) -> tuple[str, Export]:
        place.mkdir()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            export = EXPORTS[name](seed, place)
        source = open_source(export.place)
        digest = hashlib.sha256()
        for layer in source.layer_names():
            raw = source.read(layer, [field.name for field in source.fields(layer)])
            digest.update(repr((layer, raw.columns.to_pylist())).encode())
            digest.update(repr(as_objects(raw.geometry).tolist()).encode())
        return digest.hexdigest(), export

    one, export = content(7, tmp_path / "a")
    assert one == content(7, tmp_path / "b")[0]
    assert one != content(8, tmp_path / "c")[0]
    draft = draft_mapping(open_source(export.place)).text
    assert wrong_in_draft(draft, export) == [], "of another seed too"
    assert read_layers(export.place, mapping=parse_mapping(draft)).layers
