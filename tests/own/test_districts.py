"""Sources by district: what is read, what is refused in one line, and the command."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from pyproj import Transformer

from netplan.core.errors import BadInputError, BadNetworkError, BadWorkError
from netplan.network.unread_districts import DistrictsNeededError, UnreadDistricts
from netplan.network.work_section import parts_at
from netplan.readers import read_network, write_layers
from netplan.readers.districts.build_index import build_index
from netplan.readers.districts.district_index import read_index
from netplan.readers.districts.district_sources import open_districts
from netplan.readers.districts.id_tables import IdTable, hashes_of, merge_tables, write_part
from netplan.readers.districts.near_network import NearDistricts, NearNames
from tests.benchmarks.district_city import DistrictCity, write_city
from tests.support.command_line import run_command
from tests.support.district_plans import same_systems

CITY = DistrictCity(9_000, seed=3, district_blocks=12, sides=(10, 14))
MAIN = "D0101-M0000040"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a small city in ``source`` and its index in ``index``."""
    folder = tmp_path_factory.mktemp("districts")
    write_city(CITY, folder / "source")
    build_index(open_districts(str(folder / "source")), folder / "index")
    return folder


@pytest.fixture
def copied(made: Path, tmp_path: Path) -> Path:
    """Return a copy of that folder which may be changed."""
    shutil.copytree(made, tmp_path / "copy")
    return tmp_path / "copy"


def reader(folder: Path, main: str = MAIN, memory_gib: float = 3.0) -> NearDistricts:
    source = open_districts(str(folder / "source"))
    index = read_index(folder / "index")
    return NearDistricts(source, index, NearNames(mains=(main,)), memory_gib=memory_gib)


def edited(path: Path, change: Callable[[gpd.GeoDataFrame], gpd.GeoDataFrame]) -> None:
    change(gpd.read_parquet(path)).to_parquet(path, index=False)


def test_systems_over_borders_are_those_of_the_whole(made: Path, tmp_path: Path) -> None:
    parts = [CITY.district(name) for name in CITY.names()]
    frames = {
        layer: pd.concat([part[layer] for part in parts if layer in part], ignore_index=True)
        for layer in sorted({layer for part in parts for layer in part})
    }
    write_layers(frames, tmp_path / "whole")
    whole, index = read_network(tmp_path / "whole"), read_index(made / "index")
    systems, several = same_systems(index, whole)
    assert systems >= several >= 4
    assert index.frame.scale == whole.scale
    assert sum(district.pipes for district in index.districts) == len(whole.pipes)
    assert sum(district.customers for district in index.districts) == len(whole.customers)
    assert index.systems["stations"].sum() == len(whole.stations)


def test_the_network_near_is_the_whole_one_there(made: Path) -> None:
    near = reader(made)
    network = near.network()
    assert 0 < len(near.districts) < len(CITY.names())
    assert network.unread is not None
    assert len(network.unread.district) == len(CITY.names()) - len(near.districts)
    assert network.pipes.id.find(MAIN, 0, network.pipes.n_mains) >= 0
    # Of a system that is held, every pipe is: nothing of it stands in another district.
    index = read_index(made / "index")
    held = {
        system
        for main in network.pipes.id.take(np.arange(network.pipes.n_mains))
        for _, system in index.table("mains").find(main)
    }
    wanted = {system for _, system in index.table("mains").find(MAIN)}
    assert wanted <= held
    rows = np.isin(index.systems["system"], sorted(wanted))
    assert len(network.customers) >= index.systems["customers"][rows].sum()


def test_a_closed_valve_leads_to_what_was_not_read(made: Path) -> None:
    unread = reader(made).network().unread
    assert unread is not None
    assert len(unread.far_nodes())
    nodes = np.zeros(int(unread.valve_far.max()) + int(unread.valve_node.max()) + 2, dtype=bool)
    unread.check_valves(nodes)
    nodes[unread.valve_node[0]] = True
    with pytest.raises(DistrictsNeededError) as needed:
        unread.check_valves(nodes)
    assert int(unread.valve_system[0]) in needed.value.systems
    near = reader(made)
    before = near.districts
    near.add(needed.value)
    assert set(before) < set(near.districts)


def test_places_near_what_was_not_read() -> None:
    nothing = np.zeros(0, dtype=np.int64)
    unread = UnreadDistricts(
        np.array([7]),
        np.array([[100.0, 0.0, 200.0, 50.0]]),
        np.array([[0.0, 80.0]]),
        np.array([3]),
        5.0,
        nothing,
        nothing,
        nothing,
        np.zeros(0),
    )
    at = np.array([40.0]), np.array([20.0])
    unread.check_near(*at, 54.0)
    for margin, districts, systems in ((55.5, (), (3,)), (60.5, (7,), (3,))):
        with pytest.raises(DistrictsNeededError) as needed:
            unread.check_near(*at, margin)
        assert (needed.value.districts, needed.value.systems) == (districts, systems)


def test_a_pipe_in_two_districts(copied: Path) -> None:
    """Alike it comes once; with other records it is refused."""
    one, other = (copied / "source" / name / "mains.parquet" for name in ("D0000", "D0001"))
    twin = gpd.read_parquet(one).iloc[[5]]
    edited(other, lambda frame: pd.concat([frame, twin], ignore_index=True))
    source = open_districts(str(copied / "source"))
    build_index(source, copied / "twice")
    near = NearDistricts(source, read_index(copied / "twice"), NearNames(mains=(twin["id"].iloc[0],)))
    assert {"D0000", "D0001"} <= set(near.districts)
    network = near.network()
    assert network.pipes.id.find(str(twin["id"].iloc[0])) >= 0
    assert not [finding for finding in network.findings if finding.code == "duplicate-id"]
    edited(other, lambda frame: frame.assign(od_mm=np.where(frame["id"] == twin["id"].iloc[0], 63.0, 125.0)))
    with pytest.raises(BadInputError, match=r"D0000-M0000005 stands in districts D0000 and D0001 with diff"):
        build_index(source, copied / "third")
    assert not (copied / "third").exists()


def test_a_district_that_was_changed_is_refused(copied: Path) -> None:
    path = copied / "source" / "D0101" / "mains.parquet"
    held = path.read_bytes()
    path.touch()
    assert len(reader(copied).network().pipes)  # other times, same bytes
    edited(path, lambda frame: frame.assign(od_mm=180.0))
    with pytest.raises(BadInputError, match="district D0101 was changed after the index was made"):
        reader(copied).network()
    path.write_bytes(held)
    shutil.rmtree(copied / "source" / "D0101")
    with pytest.raises(BadInputError, match="holds no district D0101; put it back"):
        reader(copied).network()


def test_a_district_that_came_later_is_refused(copied: Path) -> None:
    shutil.copytree(copied / "source" / "D0000", copied / "source" / "E0000")
    with pytest.raises(BadInputError, match="district E0000 came after the index"):
        reader(copied).network()


def test_a_bad_district_is_named(copied: Path) -> None:
    far, near = (copied / "source" / name / "mains.parquet" for name in ("D0202", "D0101"))
    source = open_districts(str(copied / "source"))
    near_names = reader(copied).districts
    assert "D0202" not in near_names
    edited(far, lambda frame: frame.assign(od_mm=np.where(frame.index == 60, -1.0, frame["od_mm"])))
    assert build_index(source, copied / "index", overwrite=True).errors == 1
    assert len(reader(copied).network().pipes)
    edited(near, lambda frame: frame.assign(od_mm=np.where(frame.index == 60, -1.0, frame["od_mm"])))
    assert build_index(source, copied / "index", overwrite=True).errors == 2
    with pytest.raises(BadNetworkError, match=r"^district D0101: mains D0101-M0000060"):
        reader(copied).network()
    near.write_bytes(b"PAR1 broken")
    with pytest.raises(BadInputError, match=r"^district D0101: .*cannot be read as GeoParquet"):
        build_index(source, copied / "other")
    assert not (copied / "other").exists()


def test_too_large_for_the_memory(made: Path) -> None:
    with pytest.raises(BadInputError, match=r"reach over \d districts with [\d,]+ pipes, .*give --memory 1"):
        reader(made, memory_gib=0.401).network()


def test_an_index_that_is_none(copied: Path) -> None:
    head = copied / "index" / "districts.json"
    head.write_text(head.read_text().replace("D0101", "D0111", 1))
    with pytest.raises(BadInputError, match="is not as it was written"):
        read_index(copied / "index")
    with pytest.raises(BadInputError, match="holds an index already; give --overwrite"):
        build_index(open_districts(str(copied / "source")), copied / "index")
    with pytest.raises(BadInputError, match="exists and is no index of districts"):
        build_index(open_districts(str(copied / "source")), copied / "source")


def test_sources_that_are_none(tmp_path: Path, made: Path) -> None:
    with pytest.raises(BadInputError, match="holds no district"):
        open_districts(str(tmp_path))
    with pytest.raises(BadInputError, match=r"holds customers\.parquet beside the districts"):
        open_districts(str(made / "source" / "D0000"))
    with pytest.raises(BadInputError, match="--column is for a database"):
        open_districts(str(made / "source"), "district")
    with pytest.raises(BadInputError, match="--column: a database needs it"):
        open_districts("postgresql://h/d")


def test_tables_of_ids_merge_range_by_range(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from netplan.readers.districts import id_tables

    monkeypatch.setattr(id_tables, "_ROWS_AT_ONCE", 50)
    names = [f"M{number}" for number in range(400)]
    held = {0: names[:150], 1: names[150:300], 2: [*names[300:], "M7"]}
    for number, ids in held.items():
        write_part(tmp_path / "parts", number, hashes_of(ids), np.arange(len(ids), dtype=np.int32))
    twice = merge_tables(tmp_path / "parts", [0, 1, 2], tmp_path / "all")
    table = IdTable(tmp_path / "all")
    assert len(table) == 401
    assert [(one, other) for _, one, other in twice] == [(0, 2)]
    for number, ids in held.items():
        for place, name in enumerate(ids):
            assert (number, place) in table.find(name)
    assert table.find("M7/2") == table.find("M7") == [(0, 7), (2, 100)]
    assert table.find("M400") == []


def test_a_place_or_an_area_of_work(made: Path) -> None:
    source, index = open_districts(str(made / "source")), read_index(made / "index")
    x, y = gpd.read_parquet(made / "source" / "D0101" / "mains.parquet").geometry.iloc[40].coords[1]
    to_degrees = Transformer.from_crs(index.crs, "OGC:CRS84", always_xy=True)
    lon, lat = to_degrees.transform(x, y)
    near = NearDistricts(source, index, NearNames(box_lon_lat=(lon, lat, lon, lat)))
    near.look_at(lambda network: [part.main_id for part in parts_at(network, lon, lat, 4.0)])
    assert near.districts == reader(made).districts
    assert parts_at(near.network(), lon, lat, 4.0)[0].main_id == MAIN
    with pytest.raises(BadWorkError, match="the work section lies in no district"):
        NearDistricts(source, index, NearNames(box_lon_lat=(1.0, 50.0, 1.0, 50.0)))


def ran(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str]:
    capsys.readouterr()
    code = run_command(*arguments)
    said = capsys.readouterr()
    return code, " ".join((said.out + said.err).split())


def test_the_commands(made: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source, index = str(made / "source"), str(tmp_path / "index")
    code, said = ran(capsys, "districts", source, "--out", index)
    assert code == 0, said
    assert f"{len(CITY.names())} districts" in said
    quick = ("--no-weather", "--no-papers", "--options", "1")
    work = ("--main", MAIN, "--from", "30", "--to", "34")
    code, said = ran(
        capsys, "plan", source, "--districts", index, *work, *quick, "--out", str(tmp_path / "plan")
    )
    assert code == 0, said
    plan = json.loads((tmp_path / "plan" / "plan.json").read_bytes())
    assert "(districts D0" in plan["provenance"]["source"]
    for more, words in (
        (("--main", "M9", "--from", "1", "--to", "2"), "no district holds a live main M9"),
        ((*work, "--cache", str(tmp_path)), "--cache with --districts"),
    ):
        code, said = ran(capsys, "plan", source, "--districts", index, *more, "--out", str(tmp_path / "no"))
        assert code == 2
        assert words in said
    code, said = ran(capsys, "plan", source, "--districts", source, *work, "--out", str(tmp_path / "no"))
    assert code == 2
    assert "is no index of districts" in said
