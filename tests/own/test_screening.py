"""Screening: the same rows whoever works, and what becomes of an interrupted run."""

from __future__ import annotations

import contextlib
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from netplan.__main__ import main as command_line
from netplan.cli.exit_codes import STOPPED
from netplan.core.errors import BadInputError
from netplan.isolation import Cut, Outline
from netplan.network.build import build_network
from netplan.network.extract import extract
from netplan.network.model import Network
from netplan.planning.connectivity import reach_of
from netplan.planning.context import PlanningContext
from netplan.planning.request import PlanRequest
from netplan.readers import read_network
from netplan.rules import default_rules
from netplan.screening import Screen, ScreenSettings, Workers, screen
from netplan.screening.cluster_workers import local_cluster
from netplan.screening.main_blocks import district_nodes
from netplan.screening.main_evaluator import STOPS_FOUND, District, MainEvaluator
from netplan.screening.new_valve import with_valve
from netplan.screening.screen_run import Districts
from netplan.screening.stranding_search import StrandingSearch
from netplan.screening.valve_candidates import best_valves
from tests.benchmarks.isolation_grids import isolation_grid
from tests.support import schutterwald
from tests.support.networks import build, customer, main, service, station, valve

TOWN = Path(__file__).parents[2] / "sample_network" / "town.gpkg"
QUICK = ScreenSettings(pressure=False)


@pytest.fixture(scope="module")
def town() -> Network:
    return read_network(TOWN)


@pytest.fixture(scope="module")
def grid() -> Network:
    return isolation_grid(4000)


@pytest.fixture(scope="module")
def alone(grid: Network, tmp_path_factory: pytest.TempPathFactory) -> Screen:
    return screen(grid, default_rules(), QUICK, folder=tmp_path_factory.mktemp("alone") / "blocks")


def _outlines(evaluator: MainEvaluator, mains: Iterator[int]) -> Iterator[tuple[Outline, Cut]]:
    for row in mains:
        search = evaluator.search(row)
        search.most_scanned = 100
        try:
            cut = search.outline()
            yield cut, search.cut(cut)
        except Exception:  # noqa: BLE001, S112 - mains without a plan are not the matter here
            continue


def test_the_stranded_are_those_of_a_walk_over_the_whole_network(town: Network) -> None:
    rules = default_rules()
    district, _ = Districts(town, rules, QUICK)(0)
    evaluator = MainEvaluator(district)
    context = PlanningContext.for_request(PlanRequest(district.network, (), rules))
    around, stranded = StrandingSearch(evaluator.index), 0
    for outline, cut in _outlines(evaluator, iter(range(0, district.network.pipes.n_mains, 2))):
        expected = np.flatnonzero(reach_of(context, cut).stranded)
        assert np.array_equal(around.stranded(outline), expected)
        stranded += len(expected)
    assert stranded > 0


def test_the_stranded_where_one_station_feeds_a_town() -> None:
    # A stop beside the only station leaves the small part with the supply and the large one without.
    rules = schutterwald.pinned_rules()
    district, _ = Districts(build_network(schutterwald.layers()), rules, QUICK)(0)
    evaluator = MainEvaluator(district)
    context = PlanningContext.for_request(PlanRequest(district.network, (), rules))
    around, most = StrandingSearch(evaluator.index), 0
    for outline, cut in _outlines(evaluator, iter(range(0, district.network.pipes.n_mains, 3))):
        expected = np.flatnonzero(reach_of(context, cut).stranded)
        assert np.array_equal(around.stranded(outline), expected)
        most = max(most, len(expected))
    assert most > 500


def test_a_district_alone_gives_the_rows_of_the_whole_network(town: Network) -> None:
    rules = default_rules()
    districts = Districts(town, rules, ScreenSettings(air_temp_c=4.0))
    number = district_nodes(town)
    assert set(number.tolist()) == {0, 1}
    district, rows = districts(0)
    whole = MainEvaluator(
        District(town, rules, district.settings, district.gas_minor_per_m3, district.gas_std_per_m3)
    )
    part = MainEvaluator(district)
    some = (3, 40, 90, 120)
    of_part = part.rows([rows[row] for row in some], trace=False)
    assert list(of_part) == list(whole.rows(some, trace=False))
    other, taken = extract(town, number == 1)
    pipe = taken.pipe
    assert [other.pipes.id[k] for k in range(len(other.pipes))] == [town.pipes.id[int(k)] for k in pipe]
    assert (other.pipes.length_m == town.pipes.length_m[pipe]).all()


def test_several_threads_may_ask_one_evaluator(grid: Network, alone: Screen) -> None:
    evaluator = MainEvaluator(Districts(grid, default_rules(), QUICK)(0)[0])
    mains = [range(first, min(first + 20, evaluator.network.pipes.n_mains)) for first in range(0, 200, 20)]
    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)
    try:
        with ThreadPoolExecutor(4) as pool:
            rows = [row for some in pool.map(lambda some: list(evaluator.rows(some)), mains) for row in some]
    finally:
        sys.setswitchinterval(before)
    expected = {row["main_id"]: row for row in alone.table.to_pylist()}
    assert len(rows) == min(200, evaluator.network.pipes.n_mains)
    for row in rows:
        for name in ("outcome", "burden_least", "stops", "isolated", "looked_at", "stop_chains"):
            assert list(np.ravel(row[name])) == list(np.ravel(expected[row["main_id"]][name])), name


def test_the_number_of_workers_changes_nothing(grid: Network, alone: Screen, tmp_path: Path) -> None:
    found = screen(grid, default_rules(), QUICK, folder=tmp_path / "blocks", workers=Workers(2))
    assert found.table.equals(alone.table)


def test_a_cluster_needs_no_port_of_its_own() -> None:
    import distributed

    library: Any = distributed
    with socket.socket() as usual:
        with contextlib.suppress(OSError):  # taken by somebody else is as good
            usual.bind(("127.0.0.1", 8787))
            usual.listen()
        with local_cluster(1) as cluster, library.Client(cluster.scheduler_address) as client:
            assert client.submit(sum, [1, 2]).result() == 3
            with pytest.raises(urllib.error.HTTPError, match="404"):
                urllib.request.urlopen(f"http://127.0.0.1:{cluster.scheduler.http_server.port}/status")


def test_a_stopped_run_goes_on_where_it_was(
    grid: Network, alone: Screen, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "blocks"

    def stop(done: int, _count: int) -> None:
        if done >= 100:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        screen(grid, default_rules(), QUICK, folder=folder, tell=stop)
    kept = sorted(folder.glob("*.parquet"))
    assert len(kept) == 2
    kept[0].write_bytes(kept[0].read_bytes()[:-20])  # half a file is none
    asked: list[int] = []
    rows = MainEvaluator.rows

    def counted(self: MainEvaluator, mains: Sequence[int], **more: Any) -> Iterator[dict[str, Any]]:
        asked.extend(mains)
        return rows(self, mains, **more)

    monkeypatch.setattr(MainEvaluator, "rows", counted)
    found = screen(grid, default_rules(), QUICK, folder=folder, resume=True)
    assert found.table.equals(alone.table)
    assert len(asked) == grid.pipes.n_mains - 50
    # Another question does not take these blocks for its own.
    asked.clear()
    screen(grid, default_rules(), ScreenSettings(pressure=False, hours=3.0), folder=folder, resume=True)
    assert len(asked) == grid.pipes.n_mains


def test_a_folder_with_other_files_is_left_alone(grid: Network, tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("x")
    with pytest.raises(BadInputError, match="holds other files"):
        screen(grid, default_rules(), QUICK, folder=tmp_path)
    assert (tmp_path / "mine.txt").exists()


def _row_of_houses(**more: Any) -> dict[str, Any]:
    """Return a main fed from both ends with a branch of 63 mm, on which no bag fits, and squeezing refused."""
    places = [(float(x), 0.0) for x in range(20, 200, 20)]
    return {
        "mains": [
            main("M1", (0, 0), (100, 0)),
            main("M2", (100, 0), (200, 0)),
            main("M3", (100, 0), (100, 60)),
        ],
        "services": [service(f"S{k}", at, (at[0], 8)) for k, at in enumerate(places) if at[0] != 100]
        + [service(f"T{k}", (100, y), (108, y)) for k, y in enumerate((20, 30, 40, 50))],
        "customers": [
            customer(f"C{k}", (at[0], 8), service_id=f"S{k}") for k, at in enumerate(places) if at[0] != 100
        ]
        + [customer(f"D{k}", (108, y), service_id=f"T{k}") for k, y in enumerate((20, 30, 40, 50))],
        "regulators": [station("R1", (0, 0)), station("R2", (200, 0))],
        **more,
    }


def test_a_valve_put_in_equals_a_valve_read_in(tmp_path: Path) -> None:
    plain = build(**_row_of_houses())
    read = build(**_row_of_houses(valves=[valve("V1", (100, 1))]))
    put = with_valve(plain, plain.pipes.id.find("M3"), 1.0)
    rules = default_rules()
    for row in range(3):
        bounds = [
            next(MainEvaluator(District(net, rules, QUICK, (50.0,), (2.0,))).search(row)).bound_minor
            for net in (read, put)
        ]
        assert bounds[0] == bounds[1]


def test_the_best_valves_save_what_screening_again_saves(tmp_path: Path) -> None:
    network, rules = build(**_row_of_houses()), default_rules()
    before = screen(network, rules, QUICK, folder=tmp_path / "blocks")
    found = best_valves(before)
    assert found.proven
    assert found.places
    for place in found.places[:3]:
        more = with_valve(network, network.pipes.id.find(place.main_id), place.chainage_m)
        after = screen(more, rules, QUICK, folder=tmp_path / "again")
        gain = before.column("burden_least") - after.column("burden_least")
        assert np.nansum(np.maximum(gain, 0.0)) == pytest.approx(place.saved, abs=1e-6)


def test_the_command_writes_table_map_and_report(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from netplan.readers import write_layers
    from tests.support.networks import layers

    rows = _row_of_houses()
    rows["mains"][0]["street"] = "=1+1 </script><b>|x"
    write_layers(layers(**rows), tmp_path / "net")
    out = tmp_path / "screen"
    monkeypatch.setattr(
        "sys.argv", ["gas-netplan", "screen", str(tmp_path / "net"), "--out", str(out), "--air-temp", "4"]
    )
    with pytest.raises(SystemExit) as end:
        command_line()
    assert end.value.code == 0, capsys.readouterr()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["net", "screen"]
    mains = gpd.read_parquet(out / "mains.parquet")
    table = pd.read_csv(out / "mains.csv")
    assert mains["main_id"].tolist() == table["main_id"].tolist()
    assert set(mains["outcome"]) == {STOPS_FOUND}
    assert mains["customers"].is_monotonic_decreasing
    assert table["street"].dropna().str.startswith("'=").all()
    page = (out / "map.html").read_text()
    assert "</script><b>" not in page
    assert "http://" not in page.replace("http://www.w3.org", "")
    assert "\\</script\\>" not in (out / "report.md").read_text().replace("\\<", "<")
    # Shut at both ends, the main out takes exactly its own tees with it.
    assert dict(zip(mains["main_id"], mains["ends_customers"], strict=True))["M3"] == 4


def test_ctrl_c_keeps_what_is_finished(tmp_path: Path) -> None:
    out, blocks = tmp_path / "screen", tmp_path / "screen.blocks"
    command = [sys.executable, "-m", "netplan", "screen", str(TOWN), "--out", str(out), "--no-places"]
    # On a busy machine the command may end before the signal comes: then it is begun again.
    for _ in range(5):
        begun = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)  # noqa: S603
        deadline = time.monotonic() + 120
        while not list(blocks.glob("*.parquet")) and time.monotonic() < deadline and begun.poll() is None:
            time.sleep(0.002)
        begun.send_signal(signal.SIGINT)
        _, said = begun.communicate(timeout=60)
        if begun.returncode != 0:
            break
        shutil.rmtree(out)
    assert begun.returncode == STOPPED, said
    assert said == f"gas-netplan: stopped; finished mains are kept in {blocks}; continue with --resume\n"
    kept = {path.name: path.stat().st_mtime_ns for path in blocks.glob("*.parquet")}
    assert kept
    assert not out.exists()
    done = subprocess.run([*command, "--resume"], capture_output=True, text=True, check=False)  # noqa: S603
    assert done.returncode == 0, done.stderr
    assert not blocks.exists()
    assert len(gpd.read_parquet(out / "mains.parquet")) == read_network(TOWN).pipes.n_mains
