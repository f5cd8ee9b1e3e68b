"""Kept networks: the same to the last bit, and never taken for something else."""

from __future__ import annotations

import dataclasses
import json
import os
import shutil
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pyarrow.parquet as pq
import pytest
import shapely
from numpy.typing import NDArray

from netplan.core.errors import BadInputError
from netplan.network.build import build_network
from netplan.network.model import Network
from netplan.network.text_column import TextColumn
from netplan.readers import read_network, write_layers
from tests.support import schutterwald
from tests.support.small_town import small_town

SAMPLE = Path(__file__).parents[2] / "sample_network" / "town.gpkg"


def parts(value: Any, name: str = "network") -> Iterator[tuple[str, Any]]:
    """Yield every leaf of a network with its name."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        for field in dataclasses.fields(value):
            yield from parts(getattr(value, field.name), f"{name}.{field.name}")
    elif isinstance(value, dict):
        for key, frame in value.items():
            yield f"{name}[{key}]", frame
    else:
        yield name, value


def same(one: Any, other: Any) -> bool:
    if isinstance(one, geopandas.GeoDataFrame):
        return bool(
            one.crs == other.crs
            and one["name"].tolist() == other["name"].tolist()
            and one.geometry.to_wkb().equals(other.geometry.to_wkb())
        )
    if not isinstance(one, np.ndarray):
        return type(one) is type(other) and bool(one == other)
    if one.dtype == object:
        return bool((shapely.to_wkb(one) == shapely.to_wkb(other)).all())
    return bool(one.dtype == other.dtype and one.shape == other.shape and one.tobytes() == other.tobytes())


def assert_same(one: Network, other: Network) -> None:
    there, here = dict(parts(one)), dict(parts(other))
    assert list(there) == list(here)
    for name, value in there.items():
        assert same(value, here[name]), name


def joined(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return a list that grows whenever a network is joined from its layers."""
    seen: list[str] = []
    plain = build_network

    def build(layers: Any, source: str, **options: Any) -> Network:
        seen.append(source)
        return plain(layers, source, **options)

    monkeypatch.setattr("netplan.readers.source_to_network.build_network", build)
    return seen


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return write_layers(small_town(), tmp_path / "hamlet.gpkg")


@pytest.mark.parametrize("town", ["sample", "small", "schutterwald"])
def test_a_kept_network_is_the_same_to_the_last_bit(town: str, tmp_path: Path) -> None:
    if town == "sample":
        place = SAMPLE
    else:
        layers = small_town() if town == "small" else schutterwald.layers()
        place = write_layers(layers, tmp_path / f"{town}.gpkg")
    strict = town != "schutterwald"
    plain = read_network(place, strict=strict)
    assert_same(plain, read_network(place, strict=strict, cache=tmp_path / "kept"))
    assert len(list((tmp_path / "kept").iterdir())) == 1
    kept = read_network(place, strict=strict, cache=tmp_path / "kept")
    assert_same(plain, kept)
    assert kept.pipes.coords_m.flags.writeable == plain.pipes.coords_m.flags.writeable
    assert isinstance(kept.pipes.id, TextColumn)


def test_it_is_taken_the_second_time(file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = joined(monkeypatch)
    for _ in range(3):
        read_network(file, cache=tmp_path / "kept")
    assert len(seen) == 1
    read_network(file)
    assert len(seen) == 2
    # The same content elsewhere is the same network, read from there.
    other = tmp_path / "moved"
    other.mkdir()
    moved = shutil.copy(file, other / file.name)
    assert read_network(moved, cache=tmp_path / "kept").source == str(moved)
    assert len(seen) == 2
    # What was joined leniently is another answer to another question.
    read_network(file, strict=False, cache=tmp_path / "kept")
    assert len(seen) == 3


def test_one_changed_byte_is_another_network_whatever_size_and_time_say(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = write_layers(small_town(), tmp_path / "hamlet", "geojson")
    seen = joined(monkeypatch)
    before = read_network(folder, cache=tmp_path / "kept")
    file = folder / "customers.geojson"
    at = file.stat()
    text = file.read_text(encoding="utf-8")
    name = before.customers.address[0]
    file.write_text(text.replace(name, name[:-1] + "#"), encoding="utf-8")
    os.utime(file, ns=(at.st_atime_ns, at.st_mtime_ns))
    assert file.stat().st_size == at.st_size
    after = read_network(folder, cache=tmp_path / "kept")
    assert len(seen) == 2
    assert name[:-1] + "#" in list(after.customers.address)


def test_rows_that_stand_only_in_the_journal_count(file: Path, tmp_path: Path) -> None:
    journal = file.with_name(f"{file.name}-wal")
    read_network(file, cache=tmp_path / "kept")
    journal.write_bytes(b"")
    read_network(file, cache=tmp_path / "kept")
    assert len(list((tmp_path / "kept").iterdir())) == 2


@pytest.mark.parametrize("sidecar", [".dbf", ".prj"])
def test_the_files_beside_a_shapefile_count(sidecar: str, tmp_path: Path) -> None:
    folder = write_layers(small_town(), tmp_path / "hamlet", "shp")
    read_network(folder, cache=tmp_path / "kept")
    with (folder / f"mains{sidecar}").open("ab") as file:
        file.write(b" ")
    read_network(folder, cache=tmp_path / "kept")
    assert len(list((tmp_path / "kept").iterdir())) == 2


def harms(place: Path, kind: str) -> None:
    head = place / "network.json"
    if kind == "flipped bit":
        data = bytearray((place / "pieces.parquet").read_bytes())
        data[len(data) // 3] ^= 4
        (place / "pieces.parquet").write_bytes(bytes(data))
    elif kind == "cut short":
        data = bytearray((place / "nodes.parquet").read_bytes())
        (place / "nodes.parquet").write_bytes(bytes(data[:-9]))
    elif kind == "missing file":
        (place / "valves.parquet").unlink()
    elif kind == "missing head":
        head.unlink()
    elif kind == "no JSON":
        head.write_text("{", encoding="utf-8")
    elif kind == "other JSON":
        head.write_text("[1]", encoding="utf-8")
    elif kind == "changed fact":
        held = json.loads(head.read_text(encoding="utf-8"))
        held["body"]["facts"]["scale"] = 1.5
        head.write_text(json.dumps(held), encoding="utf-8")
    elif kind == "empty":
        shutil.rmtree(place)
        place.mkdir()
    elif kind == "a file":
        shutil.rmtree(place)
        place.write_text("something else", encoding="utf-8")


@pytest.mark.parametrize(
    "kind",
    [
        "flipped bit",
        "cut short",
        "missing file",
        "missing head",
        "no JSON",
        "other JSON",
        "changed fact",
        "empty",
        "a file",
    ],
)
def test_what_is_not_as_it_was_written_is_joined_again_and_replaced(
    kind: str, file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = read_network(file, cache=tmp_path / "kept")
    (place,) = (tmp_path / "kept").iterdir()
    harms(place, kind)
    seen = joined(monkeypatch)
    assert_same(plain, read_network(file, cache=tmp_path / "kept"))
    assert len(seen) == 1
    assert_same(plain, read_network(file, cache=tmp_path / "kept"))
    assert len(seen) == 1
    assert [entry.name for entry in (tmp_path / "kept").iterdir()] == [place.name]


@pytest.mark.parametrize("what", ["_FORMAT", "program"])
def test_another_version_does_not_take_it(
    what: str, file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read_network(file, cache=tmp_path / "kept")
    seen = joined(monkeypatch)
    if what == "_FORMAT":
        monkeypatch.setattr("netplan.readers.network_cache._FORMAT", -1)
    else:
        monkeypatch.setattr("netplan.readers.network_cache._program", lambda: "a later program")
    read_network(file, cache=tmp_path / "kept")
    assert len(seen) == 1


def test_a_full_disk_is_one_line_and_leaves_nothing(
    file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = pq.write_table

    def full(table: Any, path: Path, **options: Any) -> None:
        plain(table, path, **options)
        if path.name == "pieces.parquet":
            raise OSError(28, "No space left on device")

    monkeypatch.setattr("netplan.readers.network_cache.pq.write_table", full)
    with pytest.raises(BadInputError, match=r"cannot be kept there \(No space left on device\); free some"):
        read_network(file, cache=tmp_path / "kept")
    assert list((tmp_path / "kept").iterdir()) == []


def test_what_a_killed_run_left_is_swept_after_a_day(file: Path, tmp_path: Path) -> None:
    kept = tmp_path / "kept"
    for name in (".part-old", ".part-new"):
        (kept / name).mkdir(parents=True)
    os.utime(kept / ".part-old", (0, 0))
    read_network(file, cache=kept)
    assert sorted(entry.name for entry in kept.iterdir() if entry.name.startswith(".")) == [".part-new"]


def test_a_folder_that_is_a_file_is_refused(file: Path, tmp_path: Path) -> None:
    (tmp_path / "kept").write_text("", encoding="utf-8")
    with pytest.raises(BadInputError, match="cannot be kept there"):
        read_network(file, cache=tmp_path / "kept")


def test_only_the_owner_may_read_it(file: Path, tmp_path: Path) -> None:
    read_network(file, cache=tmp_path / "kept")
    (place,) = (tmp_path / "kept").iterdir()
    assert stat.S_IMODE(place.stat().st_mode) == 0o700


def test_a_source_that_changes_meanwhile_is_not_kept(
    file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = build_network

    def build(layers: Any, source: str, **options: Any) -> Network:
        with file.open("ab") as opened:
            opened.write(b"\0" * 4096)
        return plain(layers, source, **options)

    monkeypatch.setattr("netplan.readers.source_to_network.build_network", build)
    read_network(file, cache=tmp_path / "kept")
    assert not (tmp_path / "kept").exists() or not list((tmp_path / "kept").iterdir())


def test_any_reader_of_geoparquet_opens_it(tmp_path: Path) -> None:
    network = read_network(SAMPLE, cache=tmp_path / "kept")
    (place,) = (tmp_path / "kept").iterdir()
    pipes = geopandas.read_parquet(place / "pipes.parquet")
    assert pipes.crs.to_epsg() == 25832
    assert pipes["id"].tolist() == list(network.pipes.id)
    coords = shapely.get_coordinates(np.asarray(pipes.geometry.to_numpy(), dtype=object))
    assert_equal(coords, network.pipes.coords_m)
    customers = geopandas.read_parquet(place / "customers.parquet")
    assert_equal(customers.geometry.x.to_numpy(), network.customers.x_m)
    keep_out = geopandas.read_parquet(place / "keep_out.parquet")
    assert keep_out.geometry.is_valid.all()
    assert keep_out["reason"].tolist() == list(network.keep_out.reason)


def assert_equal(one: NDArray[np.float64], other: NDArray[np.float64]) -> None:
    assert one.shape == other.shape
    assert (one == other).all()
