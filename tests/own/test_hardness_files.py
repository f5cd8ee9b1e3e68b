"""Files that are not what they say, too large, unfinished, or lead elsewhere: one line, nothing changed."""

from __future__ import annotations

import gzip
import hashlib
import os
import shutil
import sqlite3
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from netplan.core.errors import BadInputError
from netplan.readers import open_source, read_layers, read_network, write_layers
from netplan.readers.sources.file_limits import UNLIMITED, FileLimits, guard_rows
from tests.own.test_readers_formats import town

GPKG = "network.gpkg"


def geopackage(folder: Path) -> Path:
    return write_layers(town(), folder / GPKG)


def geojson(folder: Path) -> Path:
    return write_layers(town(), folder / "network", "geojson")


def digests(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def _zip(folder: Path) -> Path:
    whole = geopackage(folder)
    with zipfile.ZipFile(folder / "n.zip", "w") as archive:
        archive.write(whole, "../../outside.shp")
    shutil.move(folder / "n.zip", whole)
    return whole


def _zip_by_name(folder: Path) -> Path:
    path = folder / "network.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("../../mains.shp", b"x")
    return path


def _gzip(folder: Path) -> Path:
    place = geojson(folder)
    mains = place / "mains.geojson"
    mains.write_bytes(gzip.compress(mains.read_bytes()))
    return place


def _mains(text: str | bytes, name: str = "mains.geojson") -> Callable[[Path], Path]:
    def make(folder: Path) -> Path:
        place = geojson(folder)
        (place / "mains.geojson").unlink()
        (place / name).write_bytes(text.encode() if isinstance(text, str) else text)
        return place

    return make


def _virtual(folder: Path) -> Path:
    whole = geopackage(folder)
    layer = f"<OGRVRTLayer name='mains'><SrcDataSource>{whole}</SrcDataSource></OGRVRTLayer>"
    return _mains(f"<OGRVRTDataSource>{layer}</OGRVRTDataSource>")(folder)


def _sparse(folder: Path) -> Path:
    whole = geopackage(folder)
    with whole.open("r+b") as file:
        file.truncate(9_000_000_000)
    return whole


def _deep(depth: int) -> Callable[[Path], Path]:
    geometry = '{"type":"LineString","coordinates":' + "[" * depth + "1" + "]" * depth + "}"
    feature = f'{{"type":"Feature","properties":{{"id":"M1"}},"geometry":{geometry}}}'
    return _mains(f'{{"type":"FeatureCollection","features":[{feature}]}}')


def _link(folder: Path) -> Path:
    place = geojson(folder)
    away = folder / "away.geojson"
    shutil.move(place / "valves.geojson", away)
    (place / "valves.geojson").symlink_to(away)
    return place


def _link_beside_a_shapefile(folder: Path) -> Path:
    place = write_layers(town(), folder / "network", "shp")
    shutil.move(place / "mains.dbf", folder / "mains.dbf")
    (place / "mains.dbf").symlink_to(folder / "mains.dbf")
    return place


def _view(folder: Path) -> Path:
    whole = geopackage(folder)
    with _opened(whole) as database:
        database.execute("drop trigger if exists rtree_mains_geom_insert")
        for (name,) in database.execute(
            "select name from sqlite_master where type = 'trigger' and tbl_name = 'mains'"
        ).fetchall():
            database.execute(f"drop trigger {name}")
        database.execute("alter table mains rename to hidden")
        database.execute("create view mains as select * from hidden")
    return whole


def _virtual_table(folder: Path) -> Path:
    whole = geopackage(folder)
    with _opened(whole) as database:
        database.execute("update gpkg_contents set table_name = 'Valves' where table_name = 'mains'")
        database.execute("update gpkg_contents set table_name = 'mains' where table_name = 'valves'")
        database.execute("drop table mains")
        database.execute("create virtual table mains using rtree(id, minx, maxx)")
    return whole


def _journal(ending: str) -> Callable[[Path], Path]:
    def make(folder: Path) -> Path:
        whole = geopackage(folder)
        whole.with_name(GPKG + ending).write_bytes(b"\x37\x7f\x06\x82" + bytes(60))
        return whole

    return make


def _unwritten(folder: Path) -> Path:
    """Leave changes in a write-ahead log, as a killed program does."""
    whole = geopackage(folder)
    child = os.fork()
    if child == 0:
        with sqlite3.connect(whole) as database:
            database.execute("pragma journal_mode = wal")
            database.execute("create table other (a)")
            database.commit()
            os.kill(os.getpid(), 9)
    os.waitpid(child, 0)
    assert whole.with_name(GPKG + "-wal").stat().st_size
    return whole


def _truncated(folder: Path) -> Path:
    whole = geopackage(folder)
    whole.write_bytes(whole.read_bytes()[: 3 * 4096 + 100])
    return whole


class _opened:  # noqa: N801
    """A database without the functions that its triggers ask for."""

    def __init__(self, path: Path) -> None:
        self._database = sqlite3.connect(path)

    def __enter__(self) -> sqlite3.Connection:
        for name in ("ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY", "ST_IsEmpty"):
            self._database.create_function(name, 1, lambda _: 0)
        return self._database

    def __exit__(self, *_: object) -> None:
        self._database.commit()
        self._database.close()


REFUSED: list[tuple[str, Callable[[Path], Path], str]] = [
    ("zip under another name", _zip, "is a compressed archive; unpack it"),
    ("zip of shapefiles", _zip_by_name, "is no GeoPackage; give a .gpkg file or a folder"),
    ("compressed GeoJSON", _gzip, "is a compressed archive; unpack it"),
    ("a text that leads to another file", _virtual, "is no GeoJSON inside"),
    ("a shapefile that is none", _mains(b"PK not really", "mains.shp"), "is no Shapefile inside"),
    ("parquet that is none", _mains(b"{}", "mains.parquet"), "is no GeoParquet inside"),
    ("nine gigabytes", _sparse, "9,000,000,000 bytes are more than the 8,000,000,000 expected"),
    ("deep GeoJSON", _deep(5_000), "cannot be read"),
    ("very deep GeoJSON", _deep(1_000_000), "cannot be read"),
    ("link out of the folder", _link, "valves.geojson: is a link out of its folder"),
    ("link beside a shapefile", _link_beside_a_shapefile, "mains.dbf: is a link out of its folder"),
    ("a view", _view, "layer mains is a view, not a table"),
    ("a virtual table", _virtual_table, "layer mains is a virtual table, not a table"),
    ("write-ahead log", _journal("-wal"), "holds unsaved changes"),
    ("rollback journal", _journal("-journal"), "holds unsaved changes"),
    ("changes of a killed program", _unwritten, "network.gpkg-wal beside it holds unsaved changes"),
    ("truncated database", _truncated, "cannot be read"),
    ("UTF-16", _mains("{}".encode("utf-16")), "is no GeoJSON inside"),
    ("empty file", _mains(b""), "is no GeoJSON inside"),
]


@pytest.mark.parametrize(("make", "says"), [case[1:] for case in REFUSED], ids=[case[0] for case in REFUSED])
def test_what_must_not_be_read_is_refused_and_not_touched(
    tmp_path: Path, make: Callable[[Path], Path], says: str
) -> None:
    network = make(tmp_path)
    small = network.stat().st_size < 1_000_000_000
    before = digests(tmp_path) if small else {}
    with pytest.raises(BadInputError) as caught:
        read_network(network)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)
    if small:
        assert digests(tmp_path) == before
    else:
        network.unlink()


@pytest.fixture
def busy(tmp_path: Path) -> Iterator[Path]:
    whole = geopackage(tmp_path)
    database = sqlite3.connect(whole)
    database.execute("begin exclusive")
    yield whole
    database.rollback()
    database.close()


def test_a_file_that_another_program_has_locked_is_read(busy: Path) -> None:
    assert len(read_network(busy).pipes) == 3


def test_triggers_never_fire_and_strange_extensions_do_not_matter(tmp_path: Path) -> None:
    whole = geopackage(tmp_path)
    with _opened(whole) as database:
        database.execute("create table fired (at text)")
        for event in ("insert", "update", "delete"):
            act = "begin insert into fired values ('x'); end"
            database.execute(f"create trigger t_{event} after {event} on mains {act}")
        database.execute(
            "create table if not exists gpkg_extensions (table_name text, column_name text, "
            "extension_name text not null, definition text not null, scope text not null)"
        )
        database.execute(
            "insert into gpkg_extensions values ('mains', null, 'xx_unheard_of', 'nowhere', 'read-write')"
        )
    before = digests(tmp_path)
    assert len(read_network(whole).pipes) == 3
    assert digests(tmp_path) == before
    with _opened(whole) as database:
        assert database.execute("select count(*) from fired").fetchone() == (0,)


def test_a_link_inside_the_folder_is_no_danger(tmp_path: Path) -> None:
    place = geojson(tmp_path)
    (place / "inner").mkdir()
    shutil.move(place / "valves.geojson", place / "inner" / "valves.geojson")
    (place / "valves.geojson").symlink_to(place / "inner" / "valves.geojson")
    assert "valves" in read_layers(place)


def test_size_limits_can_be_lifted(tmp_path: Path) -> None:
    whole = geopackage(tmp_path)
    tight = FileLimits({".gpkg": 1000}, 1)
    with pytest.raises(BadInputError, match="more than the 1,000 expected"):
        open_source(whole, tight)
    with pytest.raises(BadInputError, match=r"has 2 features, more than the 1 expected"):
        read_layers(open_source(whole, FileLimits({}, 1)))
    assert "mains" in read_layers(open_source(whole, UNLIMITED))
    folder = write_layers(town(), tmp_path / "network")
    with pytest.raises(BadInputError, match=r"mains\.parquet has 2 features, more than the 1 expected"):
        read_layers(open_source(folder, FileLimits({}, 1)))
    with pytest.raises(BadInputError, match="21,000,000 features"):
        guard_rows("layer mains", 21_000_000)
    assert pq.read_metadata(folder / "mains.parquet").num_rows == 2


@pytest.mark.parametrize("encoding", ["latin-1", "cp1250"])
def test_text_in_another_encoding_is_told_and_read_all_the_same(tmp_path: Path, encoding: str) -> None:
    place = geojson(tmp_path)
    file = place / "customers.geojson"
    text = file.read_text(encoding="utf-8").replace("–", "-")
    file.write_bytes(text.encode(encoding))
    network = read_network(place)
    assert len(network.customers) == 1
    assert network.customers.priority_note[0] == "Gr\ufffd\ufffde - \ufffd\ufffd\ufffd"
    assert ("unreadable-text", "C1") in {(f.code, f.feature_id) for f in network.findings}
