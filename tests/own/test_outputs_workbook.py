"""notices.xlsx read back: it agrees with the plan, and text is text. Styles inside plan.gpkg."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from importlib import resources
from pathlib import Path
from xml.etree import ElementTree as ET

import openpyxl
import pytest

from netplan.outputs.layers import plan_layers, write_layers
from netplan.outputs.layers.layer_styles import CUSTOMER_COLOURS, STATE_COLOURS, STYLES
from netplan.outputs.notice_list import notice_rows
from netplan.outputs.notice_workbook import DOUBT_SHEET, MERGE_SHEET, SHEETS, write_notices_xlsx
from netplan.planfile.model import Plan
from tests.support.hamlet import HOSTILE
from tests.support.plans import hamlet_result


def _write(path: Path, rank: int, *, hostile: bool = False) -> Plan:
    result = hamlet_result(hostile=hostile)
    rows = notice_rows(result.plan, result.states[rank - 1])
    write_notices_xlsx(path, result.plan, rows, rank)
    return result.plan


@pytest.mark.parametrize("rank", [1, 2])
def test_sheets_and_totals_agree_with_the_plan(tmp_path: Path, rank: int) -> None:
    plan = _write(tmp_path / "notices.xlsx", rank)
    option = plan.options[rank - 1]
    book = openpyxl.load_workbook(tmp_path / "notices.xlsx", data_only=True)
    assert book.sheetnames == ["Totals", MERGE_SHEET, *SHEETS.values(), DOUBT_SHEET]
    totals = {row[0]: row for row in book["Totals"].iter_rows(min_row=6, values_only=True)}
    for effect in ("off", "kept"):
        head, *rows = book[SHEETS[effect]].iter_rows(values_only=True)
        place = {name: k for k, name in enumerate(head)}
        wanted = {c.id: c.meters for c in option.customers if c.effect == effect}
        assert {row[place["Meter point"]]: row[place["Meters"]] for row in rows} == wanted
        assert len(rows) == len(wanted)
        line = totals[SHEETS[effect]]
        assert line[2] == len(wanted)
        assert line[3] == line[5] == sum(wanted.values())
    standby = {id_ for fallback in option.fallback for id_ in fallback.standby}
    assert totals["Standby"][2] == len(standby)


def test_formulas_are_ours_alone_and_point_at_the_rows(tmp_path: Path) -> None:
    _write(tmp_path / "notices.xlsx", 1, hostile=True)
    book = openpyxl.load_workbook(tmp_path / "notices.xlsx")
    for name in SHEETS.values():
        kinds = {cell.data_type for row in book[name].iter_rows() for cell in row}
        assert "f" not in kinds, name
        assert not book[name]._hyperlinks
    formulas = [c.value for row in book["Totals"].iter_rows() for c in row if c.data_type == "f"]
    assert len(formulas) == 4 * 5
    for tab in (*SHEETS.values(), MERGE_SHEET):
        heads = {cell.value: cell.column_letter for cell in book[tab][1]}
        meters, point = heads["Meters"], heads["Meter point"]
        assert f"=SUM('{tab}'!{meters}:{meters})" in formulas
        assert f"=COUNTA('{tab}'!{point}:{point})-1" in formulas


def test_hostile_text_is_in_the_cells_as_it_is(tmp_path: Path) -> None:
    _write(tmp_path / "notices.xlsx", 1, hostile=True)
    book = openpyxl.load_workbook(tmp_path / "notices.xlsx")
    cells = {
        cell for name in SHEETS.values() for row in book[name].iter_rows(values_only=True) for cell in row
    }
    assert set(HOSTILE) <= cells


def test_same_list_same_bytes(tmp_path: Path) -> None:
    for name in ("a.xlsx", "b.xlsx"):
        _write(tmp_path / name, 1)
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()


def test_priority_note_is_not_in_it(tmp_path: Path) -> None:
    _write(tmp_path / "notices.xlsx", 1)
    book = openpyxl.load_workbook(tmp_path / "notices.xlsx")
    cells = [str(c) for sheet in book for row in sheet.iter_rows(values_only=True) for c in row]
    assert len(cells) > 100
    assert not [cell for cell in cells if "secret note" in cell]


def test_styles_are_inside_the_geopackage(tmp_path: Path) -> None:
    layers = plan_layers(hamlet_result())
    write_layers(layers, tmp_path / "plan.gpkg")
    with closing(sqlite3.connect(tmp_path / "plan.gpkg")) as database:
        rows = database.execute(
            "SELECT f_table_name, f_geometry_column, styleQML, styleSLD FROM layer_styles"
        ).fetchall()
        columns = dict(
            database.execute("SELECT table_name, column_name FROM gpkg_geometry_columns").fetchall()
        )
    assert {row[0] for row in rows} == {style.layer for style in STYLES} & set(layers)
    for layer, column, *notations in rows:
        assert columns[layer] == column
        for text in notations:
            ET.fromstring(text)  # noqa: S314 - our own file
    by_layer = {style.layer: style for style in STYLES}
    for layer, style in by_layer.items():
        if style.column:
            assert style.column in layers[layer].columns
            assert {symbol.value for symbol in style.symbols} >= set(layers[layer][style.column].dropna())


def test_map_and_layers_have_the_same_colours() -> None:
    static = resources.files("netplan.outputs.map").joinpath("static")
    script = "".join(static.joinpath(name).read_text("utf-8") for name in ("base.js", "symbols.js"))
    used = set(re.findall(r"#[0-9a-f]{6}", script))
    assert {*STATE_COLOURS.values(), *CUSTOMER_COLOURS.values()} <= used
