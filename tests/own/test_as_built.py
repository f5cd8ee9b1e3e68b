"""What a plan leaves on the mains, written for the records: columns, places, ids, refusals (own)."""

from __future__ import annotations

import re
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely

import netplan
from netplan.cli import main
from netplan.core.errors import BadInputError
from netplan.outputs.layers import plan_layers, write_layers
from netplan.planfile.plan_json import plan_to_json
from netplan.readers import read_network
from netplan.readers import write_layers as write_network
from tests.support.networks import EAST_M, NORTH_M, XY, customer, fitting, layers, service, station
from tests.support.networks import main as main_row

METRES = "EPSG:31467"
FOOT_M = 1200 / 3937
"""The survey foot."""
COLUMNS = ["id", "kind", "system", "main_id", "chainage_m", "size_mm", "option", "note"]


def _street(*fittings: tuple[str, XY, str]) -> dict[str, gpd.GeoDataFrame]:
    """One street of small PE, squeezed by the shipped rules, with a station at either end."""
    houses = {"C1": (12.0, 0.0), "C2": (37.0, 0.5), "C3": (65.0, 2.5), "C4": (86.0, 4.0)}
    rows = {
        "mains": [main_row("M1", (0, 0), (30, 0), (100, 5), od_mm=63.0, year=2012, system="LP-9")],
        "services": [service(f"S-{name}", at, (at[0], 14), system="LP-9") for name, at in houses.items()],
        "customers": [customer(name, (x, 14), service_id=f"S-{name}") for name, (x, _) in houses.items()],
        "regulators": [station("R1", (0, 0), system="LP-9"), station("R2", (100, 5), system="LP-9")],
        "fittings": [fitting(name, at, kind, system="LP-9") for name, at, kind in fittings],
    }
    return layers(METRES, **{name: some for name, some in rows.items() if some})


def _planned(folder: Path, network: dict[str, gpd.GeoDataFrame]) -> tuple[Path, Path]:
    """Write a network and a plan folder of it with two options, without papers."""
    source, plan = folder / "street.gpkg", folder / "plan"
    write_network(network, source)
    result = netplan.plan_work(read_network(source), ("M1", 50, 54), options=2, weather=False)
    plan.mkdir()
    (plan / "plan.json").write_text(plan_to_json(result.plan))
    write_layers(plan_layers(result), plan / "plan.gpkg")
    return source, plan


@pytest.fixture(scope="module")
def street(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Return a network and a plan folder of it."""
    return _planned(tmp_path_factory.mktemp("street"), _street(("K1", (20.0, 0.0), "coupler")))


def _run(monkeypatch: pytest.MonkeyPatch, *arguments: str | Path) -> int:
    monkeypatch.setattr(sys, "argv", ["gas-netplan", "as-built", *(str(a) for a in arguments)])
    monkeypatch.setenv("COLUMNS", "200")
    with pytest.raises(SystemExit) as left:
        main()
    return int(left.value.code or 0)


def test_every_barrier_and_every_outlet_is_a_fitting_of_the_contract(street: tuple[Path, Path]) -> None:
    source, plan = street
    for option in netplan.read_plan(plan).options:
        left = netplan.as_built_fittings(plan, option.rank)
        assert set(left.option) == {option.rank}
        assert set(left.system) == {"LP-9"}
        barriers = [
            t for s in option.stops for t in s.tappings if t.role == "barrier" and s.kind == "squeeze"
        ]
        assert len(barriers) == sum(left.kind == "squeeze_mark")
        drilled = {t.chainage_m: t.size_mm for s in option.stops for t in s.tappings if t.size_mm > 0}
        outlets = left[left.kind == "tapping_tee"].set_index("chainage_m").size_mm
        assert {at: outlets[at] for at in drilled} == drilled
        assert left.id.is_unique
        assert not left.id.str.contains("[:;]").any()
        assert left.note.str.startswith("planned, confirm on site: ").all()
    line = gpd.read_file(source, layer="mains").geometry[0]
    first = netplan.as_built_fittings(plan, 1)
    assert len(first) >= 6
    assert (first.distance(line) < 1e-6).all()
    np.testing.assert_allclose([line.project(point) for point in first.geometry], first.chainage_m, atol=1e-3)


def test_the_same_place_has_the_same_id_in_every_option(street: tuple[Path, Path]) -> None:
    _, plan = street
    both = [netplan.as_built_fittings(plan, rank) for rank in (1, 2)]
    by_place = [
        dict(zip(zip(rows.kind, rows.chainage_m, strict=True), rows.id, strict=True)) for rows in both
    ]
    shared = by_place[0].keys() & by_place[1].keys()
    assert shared
    assert all(by_place[0][place] == by_place[1][place] for place in shared)
    assert by_place[0].keys() != by_place[1].keys()


def test_the_network_keeps_what_it_holds_and_gains_the_rows(
    street: tuple[Path, Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    source, plan = street
    out = tmp_path / "returned.gpkg"
    assert _run(monkeypatch, plan, source, "--option", "2", "--out", out) == 0
    said = capsys.readouterr().out
    left = netplan.as_built_fittings(plan, 2)
    assert f"{len(left)} fittings of option 2 added; places and kinds are as planned: correct" in said
    before, after = read_network(source), read_network(out)
    assert len(after.fittings) == len(before.fittings) + len(left)
    assert sorted(after.fittings.id) == sorted([*before.fittings.id, *left.id])
    assert (after.fittings.pipe >= 0).all()
    for name in ("mains", "services", "customers", "regulators"):
        assert len(gpd.read_file(out, layer=name)) == len(gpd.read_file(source, layer=name))
    assert [finding.code for finding in after.findings if finding.severity == "error"] == []
    assert out.stat().st_mode & 0o077 == 0


def test_the_new_rows_alone(
    street: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source, plan = street
    out = tmp_path / "new.gpkg"
    assert _run(monkeypatch, plan, source, "--only-new", "--out", out) == 0
    assert gpd.list_layers(out).name.tolist() == ["fittings"]
    rows = gpd.read_file(out)
    assert sorted(rows.columns.drop("geometry")) == sorted(COLUMNS)
    assert sorted(rows.id) == sorted(netplan.as_built_fittings(plan).id)


def test_what_is_recorded_is_not_added_again(street: tuple[Path, Path], tmp_path: Path) -> None:
    source, plan = street
    once = netplan.write_as_built(plan, source, tmp_path / "once.gpkg")
    twice = netplan.write_as_built(plan, once, tmp_path / "twice.gpkg", changed_network=True)
    first, second = (gpd.read_file(path, layer="fittings") for path in (once, twice))
    assert sorted(first.id) == sorted(second.id)


def test_an_id_that_the_network_uses_elsewhere_is_not_used_twice(tmp_path: Path) -> None:
    (tmp_path / "bare").mkdir()
    wanted = netplan.as_built_fittings(_planned(tmp_path / "bare", _street())[1])
    name = wanted[wanted.kind == "squeeze_mark"].id.iloc[0]
    source, plan = _planned(tmp_path, _street((name, (5.0, 0.0), "elbow")))
    left = netplan.as_built_fittings(plan)
    assert name not in set(left.id)
    assert f"{name}-2" in set(left.id)
    out = netplan.write_as_built(plan, source, tmp_path / "out.gpkg")
    assert gpd.read_file(out, layer="fittings").id.is_unique


def _in_degrees(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return frame.to_crs("EPSG:4326")


def _in_feet(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Draw the same metres in survey feet, inside the area of a grid that counts in them."""

    def moved(xy: np.ndarray) -> np.ndarray:
        return (xy - [EAST_M, NORTH_M]) / FOOT_M + [2_000_000.0, 600_000.0]

    shapes = shapely.transform(np.asarray(frame.geometry.array, dtype=object), moved)
    return gpd.GeoDataFrame(frame.drop(columns="geometry"), geometry=shapes, crs="EPSG:2264")


@pytest.mark.parametrize(("drawn", "unit_m"), [(_in_degrees, 111_000.0), (_in_feet, FOOT_M)])
def test_places_are_in_the_crs_of_the_source(
    tmp_path: Path, drawn: Callable[[gpd.GeoDataFrame], gpd.GeoDataFrame], unit_m: float
) -> None:
    street = {name: drawn(frame) for name, frame in _street(("K1", (20.0, 0.0), "coupler")).items()}
    source, plan = _planned(tmp_path, street)
    rows = gpd.read_file(netplan.write_as_built(plan, source, tmp_path / "out.gpkg", only_new=True))
    mains = gpd.read_file(source, layer="mains")
    assert rows.crs == mains.crs
    apart = shapely.distance(np.asarray(rows.geometry.array), mains.geometry[0])
    assert (apart * unit_m < 1e-3).all()
    assert len(rows) == len(netplan.as_built_fittings(plan))


def test_numbers_as_ids_and_points_with_heights_are_taken(tmp_path: Path) -> None:
    street = _street(("1", (20.0, 0.0), "coupler"))
    old = street["fittings"]
    street["fittings"] = old.assign(id=[17], geometry=shapely.force_3d(old.geometry.array, 4.5))
    source, plan = _planned(tmp_path, street)
    out = netplan.write_as_built(plan, source, tmp_path / "out.gpkg")
    rows = gpd.read_file(out, layer="fittings")
    assert set(rows.id) == {"17", *netplan.as_built_fittings(plan).id}
    assert len(read_network(out).fittings) == len(rows)


def test_another_network_is_refused_unless_it_is_said(
    street: tuple[Path, Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    _, plan = street
    edited, out = tmp_path / "edited.gpkg", tmp_path / "out.gpkg"
    write_network(_street(("K1", (20.0, 0.0), "coupler"), ("K2", (25.0, 0.0), "coupler")), edited)
    assert _run(monkeypatch, plan, edited, "--out", out) == 2
    assert re.fullmatch(
        r"gas-netplan: .*edited.gpkg: is not the network that .* was planned on; give that one, or "
        r"--changed-network when it has been edited since\n",
        capsys.readouterr().err,
    )
    assert not out.exists()
    assert _run(monkeypatch, plan, edited, "--changed-network", "--out", out) == 0
    assert "K2" in set(gpd.read_file(out, layer="fittings").id)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda mains: mains.assign(id="M2"), "has no live main M1, where M1-.* was planned"),
        (lambda mains: mains.assign(geometry=mains.translate(0.0, 0.3)), "main M1 lies 0.30 m beside"),
        (
            lambda mains: mains.assign(
                geometry=[shapely.LineString([mains.geometry[0].coords[0], mains.geometry[0].coords[1]])]
            ),
            "main M1 lies [0-9.]+ m beside the place",
        ),
    ],
    ids=["gone", "moved", "shortened"],
)
def test_a_main_that_is_not_there_any_more_is_refused(
    street: tuple[Path, Path], tmp_path: Path, change: object, said: str
) -> None:
    _, plan = street
    edited = _street()
    edited["mains"] = change(edited["mains"])  # type: ignore[operator]
    write_network(edited, tmp_path / "edited.gpkg")
    with pytest.raises(BadInputError, match=said):
        netplan.write_as_built(plan, tmp_path / "edited.gpkg", tmp_path / "o.gpkg", changed_network=True)
    assert not (tmp_path / "o.gpkg").exists()


def test_what_cannot_be_is_one_line(
    street: tuple[Path, Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    source, plan = street
    there = tmp_path / "there.gpkg"
    there.write_text("mine")
    old = tmp_path / "old"
    shutil.copytree(plan, old)
    left = {n: rows for n, rows in netplan.plan_layers(plan).items() if n != "as_built_fittings"}
    (old / "plan.gpkg").unlink()
    write_layers(left, old / "plan.gpkg")
    for arguments, said in (
        (
            (plan, source, "--option", "3", "--out", tmp_path / "o.gpkg"),
            "option 3: the plan has options 1 to 2",
        ),
        ((plan, source, "--out", there), "there.gpkg: exists already; choose another name"),
        ((plan, source, "--out", tmp_path / "o.txt"), "does not end in .gpkg"),
        ((plan, tmp_path / "none.gpkg", "--out", tmp_path / "o.gpkg"), "no such file or folder"),
        ((tmp_path / "none", source, "--out", tmp_path / "o.gpkg"), "give a plan folder"),
        (
            (old, source, "--out", tmp_path / "o.gpkg"),
            "layer as_built_fittings is missing; make the plan again",
        ),
    ):
        assert _run(monkeypatch, *arguments) == 2
        error = capsys.readouterr().err
        assert said in error
        assert error.count("\n") == 1
    assert there.read_text() == "mine"
    assert not (tmp_path / "o.gpkg").exists()
