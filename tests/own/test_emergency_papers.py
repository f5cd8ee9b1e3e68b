"""Page and sheet of an emergency answer: who governs first, all that the answer holds, nothing asked of anybody."""

from __future__ import annotations

import dataclasses
import io
import json
import math
import re
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import geopandas as gpd
import jsonschema
import numpy as np
import pypdf
import pytest
import shapely

from netplan.cli.sample import sample_network
from netplan.emergency.answer import first_answer
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.hit_places import Hits, hits_at, hits_on_main
from netplan.emergency.next_rings import EmergencyRequest
from netplan.network.linear_reference import piece_at
from netplan.network.model import Network
from netplan.network.text_column import TextColumn
from netplan.outputs.emergency.answer_folder import write_answer
from netplan.outputs.emergency.emergency_page import emergency_page
from netplan.outputs.emergency.emergency_sheet import emergency_sheet, write_sheet
from netplan.outputs.emergency.network_in_view import NetworkInView
from netplan.outputs.emergency.ring_inside import inside_of
from netplan.outputs.number_format import METRIC, US
from netplan.planfile.emergency_answer import (
    EmergencyAnswer,
    Ring,
    SolvedConditions,
    SolvedRing,
    SolvedRingState,
    WeakMeter,
)
from netplan.planfile.emergency_json import emergency_schema
from netplan.readers import read_network
from netplan.rules import read_rules
from tests.support.axe_checks import barriers
from tests.support.browser import chromium, opened

CASES = ("main", "station", "service", "several", "failed")
SHEETS = ("main", "station", "several")
"""Reading a sheet back takes longest: the others are the same words."""
HOSTILE = "<img src=https://evil.example onerror=alert(1)>&\"';#=-+@[]{}$*_`//\\\u202e\x07"


@cache
def tables() -> EmergencyTables:
    return EmergencyTables(read_network(sample_network()), read_rules(None))


def _hits(case: str) -> Hits:
    if case == "several":
        return hits_at(tables().boxes, 10.503948, 52.897661, 10.0)
    place = {"station": ("M0185", 5.0), "service": ("S00300", 3.0)}.get(case, ("M0123", 100.0))
    return hits_on_main(tables().network, *place)


@cache
def answer(case: str) -> EmergencyAnswer:
    failed = ("V005",) if case == "failed" else ()
    return first_answer(tables(), _hits(case), EmergencyRequest(f"--{case}", 2, 10.0, failed))


@cache
def page(case: str) -> str:
    return emergency_page(answer(case), NetworkInView(tables().network), METRIC)


@cache
def sheet_pages(case: str) -> tuple[str, ...]:
    pdf = emergency_sheet(answer(case), NetworkInView(tables().network), METRIC)
    with pypdf.PdfReader(io.BytesIO(pdf)) as reader:
        return tuple(_one_line(found.extract_text()) for found in reader.pages)


def _one_line(text: str) -> str:
    return " ".join(re.sub("[\u200b\u00ad]", "", text).split())


class _Read(HTMLParser):
    """Elements, attributes and visible text of a page."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: set[str] = set()
        self.attributes: list[tuple[str, str]] = []
        self.words: list[str] = []
        self._within: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.add(tag)
        self.attributes += [(name, value or "") for name, value in attrs]
        if tag not in ("meta", "br"):
            self._within.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag in self._within:
            while self._within.pop() != tag:
                pass

    def handle_data(self, data: str) -> None:
        if not {"style", "script", "title"} & set(self._within):
            self.words.append(data)


def _text(html: str) -> str:
    return _one_line(" ".join(_Read(html).words))


@pytest.mark.parametrize("case", CASES)
def test_page_and_sheet_begin_with_who_governs_and_how_to_make_safe(case: str) -> None:
    first = _one_line(" ".join([answer(case).governs, *answer(case).make_safe]))
    assert _text(page(case)).startswith(first)
    if case not in SHEETS:
        return
    numbered = " ".join(f"{k}. {line}" for k, line in enumerate(answer(case).make_safe, 1))
    assert sheet_pages(case)[0].startswith(_one_line(f"{answer(case).governs} {numbered}"))


@pytest.mark.parametrize("case", SHEETS)
def test_page_one_of_the_sheet_holds_everything_to_act_on(case: str) -> None:
    first, given = sheet_pages(case)[0], answer(case)
    assert "No gas back until every meter is shut." in first
    assert "do not approach until the competent person permits" in first
    assert ("all are shut until one is confirmed" in first) is (len(given.hits) > 1)
    for hit in given.hits:
        assert f"main {hit.main_id}" in first
        known = hit.set_outlet_mbar is not None
        assert (METRIC.pressure(hit.set_outlet_mbar) if known else "pressure is not on record") in first
    for ring in given.rings:
        for stop in ring.stops:
            assert (stop.valve_id or f"{stop.main_id} at {METRIC.length(stop.chainage_m)}") in first
            assert f"{stop.ends_min:g}" in first
        assert f"{ring.meters} meter" in first
        assert all(name in first for name in ring.stations_to_shut)
        assert all(_one_line(line) in first for line in ring.do_first)
        assert first.count("FIRST") >= len(ring.do_first)
    assert all(name in first for name in given.failed_valves)


@pytest.mark.parametrize("case", CASES)
def test_all_that_the_answer_holds_is_on_both(case: str) -> None:
    given = answer(case)
    stops = [stop for ring in (*given.rings, *(one.ring for one in given.next_rings)) for stop in ring.stops]
    assert stops
    for text in (_text(page(case)), *([" ".join(sheet_pages(case))] if case in SHEETS else [])):
        for stop in stops:
            assert (stop.valve_id or f"{stop.main_id} at {METRIC.length(stop.chainage_m)}") in text
            assert all(f"{METRIC.chainage(one.distance_m)} from {one.what}" in text for one in stop.offsets)
            assert _one_line(stop.place) in text
            assert stop.record is None or stop.record.last_operated in text
        for ring in given.rings:
            assert f"{ring.meters} meter" in text
        assert f"{len(given.customers)} meter point" in text
        named = {name for ring in given.rings for name in ring.stations_to_shut}
        assert all(name in text for name in named)
        assert all(one.address in text for one in given.customers if one.priority)
        assert all(one.street in text for one in given.customers)
        assert all(one.address in text for one in given.nearby)
        assert "Check first; not an evacuation limit." in text
        assert "not for distances" in text
        without = [hit.main_id for hit in given.hits if hit.set_outlet_mbar is None]
        assert all(f"{name}: not worked out, its pressure is not on record" in text for name in without)
        assert all(one.whom in text for one in given.notify)
        for lines in (given.doubts, given.cautions, [one.what for one in given.log]):
            assert all(_one_line(line) in text for line in lines)


@pytest.mark.parametrize("case", CASES)
def test_the_page_asks_nothing_of_anybody(case: str) -> None:
    read = _Read(page(case))
    held = dict(read.attributes)
    assert held["content"]
    policies = [value for name, value in read.attributes if name == "content" and "default-src" in value]
    assert len(policies) == 1
    assert policies[0].startswith("default-src 'none'; script-src 'sha256-")
    assert "unsafe" not in policies[0]
    assert not read.elements & {
        "img",
        "link",
        "iframe",
        "object",
        "embed",
        "form",
        "a",
        "image",
        "use",
        "canvas",
    }
    names = {name for name, _ in read.attributes}
    assert not names & {"src", "href", "xlink:href", "style", "action", "srcset"}
    assert not any(name.startswith("on") for name in names)
    assert all(target.startswith("#") for target in re.findall(r"url\(([^)]*)\)", page(case)))
    addresses = set(re.findall(r"https?://[^\"'\s<]+", page(case)))
    assert addresses == {"http://www.w3.org/2000/svg"}
    assert "@import" not in page(case)


def test_the_priority_note_stands_nowhere() -> None:
    notes = {note for note in tables().network.customers.priority_note if note}
    assert notes
    everything = page("main") + " ".join(sheet_pages("main")) + answer("main").model_dump_json()
    assert not [note for note in notes if note in everything]


@pytest.mark.parametrize("case", ["station"])
def test_not_solved_yet_is_said_exactly_until_it_is_solved(case: str) -> None:
    state = SolvedRingState(
        name="after stop 1",
        shut=("V005",),
        escape_m3h=None,
        least_mbar=19.94,
        below_minimum=3,
        stations_full_flow=("RS-3",),
    )
    weak = WeakMeter(customer_id=answer(case).customers[0].id, state="after stop 1", pressure_mbar=None)
    solved = SolvedRing(
        kind="valves", states=(state,), weak=(weak,), meters_weak=4, may_be_fed=("a feed keeps Hazel Close",)
    )
    conditions = SolvedConditions(
        hour="2026-11-30 12:00–13:00",
        air_temp_c=-8.0,
        is_design_temperature=True,
        ground_temp_c=10.0,
        demand_total_m3h=2226.0,
        required_mbar=21.0,
    )
    twice = (solved, solved.model_copy(update={"kind": "fastest"}))
    later = answer(case).model_copy(update={"solved": twice, "conditions": conditions})
    view = NetworkInView(tables().network)
    pdf = emergency_sheet(later, view, METRIC)
    with pypdf.PdfReader(io.BytesIO(pdf)) as reader:
        sheet = _one_line(" ".join(found.extract_text() for found in reader.pages))
    for before, after in (
        (_text(page(case)), _text(emergency_page(later, view, METRIC))),
        (" ".join(sheet_pages(case)), sheet),
    ):
        assert "not solved yet" in before
        assert "not solved yet" not in after
        assert "after stop 1 (V005 shut); least inlet outside 19.9 mbar" in after
        assert after.count("a feed keeps Hazel Close") == 1
        assert "Pressures outside, valve ring and fastest ring" in after
        assert "air −8.0 °C, the design temperature of the rules; 2230 m³/h drawn" in after
        assert (
            f"{answer(case).customers[0].address} ({answer(case).customers[0].id}): after stop 1, no gas"
            in after
        )
        assert "4 meters outside fall below their minimum" in after


def _hostile_network(network: Network) -> Network:
    def all_hostile(column: TextColumn) -> TextColumn:
        return TextColumn([f"{word} {HOSTILE}" for word in column])

    base = {name: frame.assign(name=HOSTILE) for name, frame in network.base.items()}
    return dataclasses.replace(
        network,
        stations=dataclasses.replace(network.stations, id=all_hostile(network.stations.id)),
        customers=dataclasses.replace(
            network.customers,
            address=all_hostile(network.customers.address),
            street=all_hostile(network.customers.street),
            number=all_hostile(network.customers.number),
            priority=TextColumn([HOSTILE if word else "" for word in network.customers.priority]),
        ),
        valves=dataclasses.replace(
            network.valves,
            id=all_hostile(network.valves.id),
            remark=all_hostile(network.valves.remark),
            cover_type=all_hostile(network.valves.cover_type),
            closing_direction=all_hostile(network.valves.closing_direction),
        ),
        pipes=dataclasses.replace(
            network.pipes, id=all_hostile(network.pipes.id), street=all_hostile(network.pipes.street)
        ),
        base=base,
        source=HOSTILE,
    )


def test_hostile_text_is_never_markup() -> None:
    network = _hostile_network(tables().network)
    hostile = EmergencyTables(network, read_rules(None))
    hits = hits_on_main(network, f"M0185 {HOSTILE}", 5.0)
    given = first_answer(hostile, hits, EmergencyRequest(HOSTILE, 1, 10.0))
    given = given.model_copy(update={"doubts": (HOSTILE,), "failed_valves": (HOSTILE,)})
    view = NetworkInView(network)
    html = emergency_page(given, view, METRIC)
    plain, read = _Read(page("station")), _Read(html)
    assert read.elements == plain.elements
    assert {name for name, _ in read.attributes} == {name for name, _ in plain.attributes}
    has_text = "<img src=https://evil.example onerror=alert(1)>" in _text(html)
    assert has_text
    has_marks = "\u202e" in html or "\x07" in html
    assert not has_marks
    pdf = emergency_sheet(given, view, METRIC)
    with pypdf.PdfReader(io.BytesIO(pdf)) as reader:
        text = "".join(reader.pages[0].extract_text().replace("\u200b", "").split())
        assert "<imgsrc=https://evil.example" in text
        assert not [1 for found in reader.pages for note in found.get("/Annots", ())]


def test_the_record_of_a_valve_and_its_tapes_are_those_of_the_layers() -> None:
    rows = gpd.read_file(sample_network(), layer="valves").set_index("id")
    corners = shapely.get_coordinates(gpd.read_file(sample_network(), layer="buildings").geometry.array)
    scale, seen = tables().network.scale, 0
    for ring in answer("main").rings:
        for stop in ring.stops:
            for one in stop.offsets:
                straight = math.hypot(one.x - stop.x, one.y - stop.y) / scale
                assert one.distance_m == pytest.approx(straight, abs=0.06)
                if one.what.startswith("building corner"):
                    assert np.hypot(*(corners - (one.x, one.y)).T).min() < 0.002
                    seen += 1
            at = [one for one in stop.offsets if one.what.startswith("building corner")]
            if len(at) == 2:
                turn = [math.atan2(one.y - stop.y, one.x - stop.x) for one in at]
                apart = abs(math.degrees(turn[0] - turn[1])) % 180.0
                assert min(apart, 180.0 - apart) >= 34.9
            if stop.record is None:
                assert not stop.valve_id
                continue
            row = rows.loc[stop.valve_id]
            assert stop.record.turns_to_close == pytest.approx(row.turns_to_close, abs=0.06)
            assert stop.record.closing_direction == row.closing_direction
            assert stop.record.size_mm == pytest.approx(row.size_mm)
            assert stop.record.last_operated == row.last_operated
    assert seen >= 6


def _walked(network: Network, hits: tuple[Any, ...], ring: Ring) -> set[int]:
    """Return the nodes joined to the hits, walked piece by piece past no stop."""
    pieces = network.pieces
    stops: dict[int, list[float]] = {}
    for stop in ring.stops:
        row = network.valves.id.find(stop.valve_id) if stop.valve_id else -1
        pipe = network.pipes.id.find(stop.main_id)
        piece = int(network.valves.piece[row]) if row >= 0 else piece_at(network, pipe, stop.chainage_m)
        stops.setdefault(piece, []).append(stop.chainage_m)
    at: dict[int, list[int]] = {}
    for piece in range(len(pieces)):
        if pieces.is_open[piece] and piece not in stops:
            for node in (int(pieces.from_node[piece]), int(pieces.to_node[piece])):
                at.setdefault(node, []).append(piece)
    todo: list[int] = []
    for hit in hits:
        piece = piece_at(network, network.pipes.id.find(hit.main_id), hit.chainage_m)
        cuts = stops.get(piece, [])
        if not any(cut < hit.chainage_m for cut in cuts):
            todo.append(int(pieces.from_node[piece]))
        if not any(cut > hit.chainage_m for cut in cuts):
            todo.append(int(pieces.to_node[piece]))
    seen = set(todo)
    while todo:
        for piece in at.get(todo.pop(), ()):
            for node in (int(pieces.from_node[piece]), int(pieces.to_node[piece])):
                if node not in seen:
                    seen.add(node)
                    todo.append(node)
    return seen


@pytest.mark.parametrize("case", ["main", "several", "service"])
def test_what_is_hatched_is_what_an_independent_walk_reaches(case: str) -> None:
    network = tables().network
    pieces, rings = network.pieces, answer(case).rings
    assert len(rings) >= 2
    for ring in rings:
        drawn = inside_of(network, answer(case).hits, ring)
        walked = _walked(network, answer(case).hits, ring)
        expected = {
            piece
            for piece in range(len(pieces))
            if pieces.is_open[piece]
            and {int(pieces.from_node[piece]), int(pieces.to_node[piece])} <= walked
            and not (pieces.valve[piece] >= 0 and network.valves.id[int(pieces.valve[piece])] in _ids(ring))
        }
        held = {piece_at(network, pipe, (low + high) / 2.0) for pipe, low, high in drawn.parts}
        assert set(np.flatnonzero(drawn.whole).tolist()) == expected - held
        named = {line.split()[1].rstrip(",") for line in ring.do_first if "recorded as closed" in line}
        assert {network.valves.id[row] for row in drawn.closed_valves} == named


def _ids(ring: Ring) -> set[str]:
    return {stop.valve_id for stop in ring.stops}


def test_the_folder_holds_all_three_and_the_schema_knows_the_answer(tmp_path: Path) -> None:
    folder = tmp_path / "hit"
    view = write_answer(folder, answer("main"), tables().network, US)
    assert sorted(path.name for path in folder.iterdir()) == ["emergency.html", "emergency.json"]
    write_sheet(folder, answer("main"), view, US)
    assert sorted(path.name for path in folder.iterdir()) == [
        "emergency.html",
        "emergency.json",
        "emergency.pdf",
    ]
    assert (folder / "emergency.pdf").read_bytes().startswith(b"%PDF")
    jsonschema.validate(json.loads((folder / "emergency.json").read_text()), emergency_schema())
    assert "in. w.c." in _text((folder / "emergency.html").read_text())


@pytest.mark.browser
def test_the_page_opens_offline_on_a_phone_and_a_desk(tmp_path: Path) -> None:
    path = tmp_path / "emergency.html"
    path.write_text(page("several"), encoding="utf-8")
    with chromium() as running:
        for width in (390, 1280):
            with opened(running, path, ".zoom button", width=width, height=900) as seen:
                assert seen.asked == [path.as_uri()]
                assert seen.complaints == []
                assert barriers(seen.page) == []
                wide = seen.page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
                assert wide == [width, width]
                drawn = seen.page.locator(".map svg").first
                before = drawn.get_attribute("viewBox")
                seen.page.locator(".zoom button").first.click()
                assert drawn.get_attribute("viewBox") != before
                seen.page.locator(".zoom button").nth(2).click()
                assert [float(one) for one in drawn.get_attribute("viewBox").split()] == [
                    float(one) for one in before.split()
                ]
