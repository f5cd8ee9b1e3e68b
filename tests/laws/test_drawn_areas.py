"""Laws of what is drawn on the page: the work of an area is what lies in it, an order lies where it was drawn."""

from __future__ import annotations

import json
import random

import numpy as np
import pytest
import shapely
from pydantic import ValidationError

from netplan.cli.sample import sample_network
from netplan.core.errors import BadInputError
from netplan.network.linear_reference import lines_between
from netplan.network.model import Network
from netplan.page.drawn_areas import (
    DrawnPolygon,
    lon_lat_ring,
    recorded_areas,
    rings_on_plane,
    street_lengths,
    work_in_area,
)
from netplan.page.map_marks import MapMarks
from netplan.page.map_tiles import MapTiles
from netplan.page.page_orders import PageOrders
from netplan.readers import read_network

MOST = 60


@pytest.fixture(scope="module")
def network() -> Network:
    return read_network(sample_network())


def _drawn(rng: random.Random, network: Network) -> DrawnPolygon:
    """Return a star-shaped area somewhere over the mains."""
    x, y = network.pipes.coords_m[rng.randrange(len(network.pipes.coords_m))]
    turns = sorted(rng.uniform(0.0, 2.0 * np.pi) for _ in range(rng.randint(5, 12)))
    reach = rng.uniform(15.0, 150.0)
    away = [reach * rng.uniform(0.5, 1.0) for _ in turns]
    corners = [(x + r * np.cos(t), y + r * np.sin(t)) for r, t in zip(away, turns, strict=True)]
    return DrawnPolygon(ring=tuple((float(a), float(b)) for a, b in corners))


def test_the_work_of_an_area_is_every_length_of_main_in_it(network: Network) -> None:
    rng, pipes = random.Random(1), network.pipes  # noqa: S311
    lines = [
        shapely.LineString(pipes.coords_m[pipes.coord_start[row] : pipes.coord_start[row + 1]])
        for row in range(pipes.n_mains)
    ]
    found = refused = 0
    for _ in range(40):
        drawn = _drawn(rng, network)
        area = shapely.Polygon(drawn.ring)
        inside_m = sum(line.intersection(area).length for line in lines) if area.is_valid else 0.0
        try:
            work = work_in_area(network, drawn, MOST)
        except BadInputError:
            refused += 1
            continue
        rows = np.array([pipes.id.find(str(one["main_id"])) for one in work])
        ends = [np.array([float(one[end]) for one in work]) for end in ("from_m", "to_m")]
        courses = lines_between(network, rows, *ends)
        assert sum(line.length for line in courses) == pytest.approx(inside_m, abs=0.02 * len(work) + 0.02)
        assert all(area.buffer(0.01).covers(line) for line in courses)
        assert (ends[1] > ends[0]).all()
        assert PageOrders.model_validate({"work": work}).work
        found += 1
    assert found >= 25
    assert refused <= 12


def test_what_cannot_be_the_work_is_refused_in_one_line(network: Network) -> None:
    west, south = network.pipes.coords_m.min(axis=0)
    east, north = network.pipes.coords_m.max(axis=0)
    town = DrawnPolygon(ring=((west, south), (east, south), (east, north), (west, north)))
    for drawn, words in (
        (town, "60 can be the work"),
        (DrawnPolygon(ring=((west, south), (east, north), (east, south), (west, north))), "sides cross"),
        (
            DrawnPolygon(ring=((west - 90, south - 90), (west - 80, south - 90), (west - 80, south - 80))),
            "no live",
        ),
    ):
        with pytest.raises(BadInputError, match=words) as refused:
            work_in_area(network, drawn, MOST)
        assert "\n" not in str(refused.value)
    with pytest.raises(BadInputError, match="no main is in"):
        street_lengths(network, "No Such Street", MOST)
    with pytest.raises(BadInputError, match="1 can be the work"):
        street_lengths(network, "Ring Road North", 1)
    for wrong in ([[0, 0], [1, 1]], [[0, 0], [1, 1], [float("nan"), 2]], [[0, 0]] * 3000):
        with pytest.raises(ValidationError):
            DrawnPolygon.model_validate({"ring": wrong})


def test_a_street_is_all_of_its_mains_from_end_to_end(network: Network) -> None:
    pipes = network.pipes
    street = pipes.street[40]
    work = street_lengths(network, street, MOST)
    own = [row for row in range(pipes.n_mains) if pipes.street[row] == street]
    assert sorted(str(one["main_id"]) for one in work) == sorted(pipes.id[row] for row in own)
    assert sum(float(one["to_m"]) for one in work) == pytest.approx(
        float(pipes.length_m[own].sum()), abs=0.01
    )


def test_an_area_of_the_orders_lies_where_it_was_drawn(network: Network) -> None:
    rng = random.Random(2)  # noqa: S311
    for _ in range(10):
        drawn = _drawn(rng, network)
        orders = PageOrders.model_validate({"keep_out": [lon_lat_ring(network, drawn)]})
        (ring,) = rings_on_plane(network, orders.keep_out)
        assert np.abs(np.array(ring) - np.array(drawn.ring)).max() <= 0.006


def test_recorded_areas_are_those_that_meet_a_box(network: Network) -> None:
    shapes = network.keep_out.geometry
    assert len(shapes)
    box = shapes[0].buffer(1.0).bounds
    found = recorded_areas(network, box)
    meeting = [row for row in range(len(shapes)) if shapes[row].intersects(shapely.box(*box))]
    assert {one["reason"] for one in found} == {network.keep_out.reason[row] for row in meeting}


def test_every_meter_point_is_marked_once_and_no_priority_note_is_sent(network: Network) -> None:
    marks = MapMarks(network, MapTiles(network))
    tiles = [marks.tile(column, row) for column in range(2**marks.zoom) for row in range(2**marks.zoom)]
    assert sorted(one["id"] for tile in tiles for one in tile["customers"]) == sorted(network.customers.id)
    assert len([one for tile in tiles for one in tile["mains"]]) == network.pipes.n_mains
    text = json.dumps(tiles)
    notes = {note for note in network.customers.priority_note if note}
    assert notes
    assert not any(json.dumps(note)[1:-1] in text for note in notes)
