"""Laws of the page's map tiles: every main is drawn where it lies, once, whatever the zoom."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from netplan.cli.sample import sample_network
from netplan.network.model import Network
from netplan.page import map_tiles as module
from netplan.page.map_tiles import FARTHEST_IN, MARGIN, SERVICE, UNITS, MapTiles
from netplan.readers import read_network


@pytest.fixture(scope="module")
def network() -> Network:
    return read_network(sample_network())


def _in_metres(tiles: MapTiles, zoom: int, column: int, row: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the lines of a tile in the working CRS, and their kinds."""
    lines = tiles.tile(zoom, column, row)
    side = tiles.extent_m / 2**zoom
    ends = lines.ends.astype(float) * side / UNITS
    ends[:, 0::2] += tiles.west_m + column * side
    ends[:, 1::2] = tiles.north_m - row * side - ends[:, 1::2]
    return ends, lines.kind


def _length(ends: np.ndarray) -> float:
    return float(np.hypot(ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1]).sum())


@pytest.mark.parametrize("zoom", [0, 2, 4])
def test_the_tiles_of_a_zoom_hold_all_of_the_network(network: Network, zoom: int) -> None:
    tiles, pipes = MapTiles(network), network.pipes
    lines = [pipes.coords_m[a:b] for a, b in zip(pipes.coord_start[:-1], pipes.coord_start[1:], strict=True)]
    whole = sum(shapely.LineString(line).length for line in lines)
    # Without what tiles reach beyond their sides each length lies in one of them.
    drawn = 0.0
    for column in range(2**zoom):
        for row in range(2**zoom):
            ends, _ = _in_metres(tiles, zoom, column, row)
            side = tiles.extent_m / 2**zoom
            box = shapely.box(
                tiles.west_m + column * side,
                tiles.north_m - (row + 1) * side,
                tiles.west_m + (column + 1) * side,
                tiles.north_m - row * side,
            )
            drawn += float(
                shapely.length(shapely.intersection(shapely.linestrings(ends.reshape(-1, 2, 2)), box)).sum()
            )
    step = tiles.extent_m / 2**zoom / UNITS
    assert drawn == pytest.approx(whole, abs=2 * step * len(pipes.coords_m))
    assert drawn == pytest.approx(whole, rel=0.03)


def test_a_tile_close_up_lies_on_the_pipes(network: Network) -> None:
    tiles = MapTiles(network)
    place = network.pipes.coords_m[network.pipes.coord_start[40]]
    column = int((place[0] - tiles.west_m) / tiles.extent_m * 2**FARTHEST_IN)
    row = int((tiles.north_m - place[1]) / tiles.extent_m * 2**FARTHEST_IN)
    ends, _ = _in_metres(tiles, FARTHEST_IN, column, row)
    assert len(ends)
    pipes = shapely.multilinestrings(
        [
            shapely.LineString(network.pipes.coords_m[a:b])
            for a, b in zip(network.pipes.coord_start[:-1], network.pipes.coord_start[1:], strict=True)
        ]
    )
    away = shapely.distance(shapely.points(ends.reshape(-1, 2)), pipes)
    assert away.max() <= 2 * tiles.extent_m / 2**FARTHEST_IN / UNITS


def test_no_line_leaves_its_tile_by_more_than_the_margin(network: Network) -> None:
    tiles = MapTiles(network)
    for place in ((3, 3), (4, 4), (5, 2)):
        ends = tiles.tile(3, *place).ends
        assert ends.min(initial=0) >= -MARGIN * UNITS - 1
        assert ends.max(initial=0) <= (1 + MARGIN) * UNITS + 1


def test_far_out_the_generalised_mains_lie_within_a_point_of_the_true_ones(
    network: Network, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole, _ = _in_metres(MapTiles(network), 0, 0, 0)
    monkeypatch.setattr(module, "DIRECT", 10)
    tiles = MapTiles(network)
    ends, kind = _in_metres(tiles, 0, 0, 0)
    assert 0 < len(ends) < len(whole)
    assert not (kind == SERVICE).any()
    point_m = tiles.extent_m / module.PIXELS
    true = shapely.multilinestrings(whole.reshape(-1, 2, 2))
    assert shapely.distance(shapely.points(ends.reshape(-1, 2)), true).max() <= point_m
    pairs = {tuple(sorted((tuple(line[:2]), tuple(line[2:])))) for line in tiles.tile(0, 0, 0).ends.tolist()}
    assert len(pairs) == len(ends)


def test_the_bytes_are_count_ends_and_kinds(network: Network) -> None:
    lines = MapTiles(network).tile(2, 2, 2)
    data = lines.to_bytes()
    count = int.from_bytes(data[:4], "little")
    assert count == len(lines.kind) > 0
    assert len(data) == 4 + 9 * count
    assert (np.frombuffer(data, "<i2", 4 * count, 4).reshape(-1, 4) == lines.ends).all()
    assert (np.frombuffer(data, "u1", count, 4 + 8 * count) == lines.kind).all()
    assert not len(MapTiles(network).tile(6, 0, 0).kind)
