"""A screen worked by several machines: workers killed, the scheduler killed, once back and once not; equal bytes.

Machines are processes that share no folder (`tests.support.machines`), and all commands are those of docs/how-to-cluster.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest

from netplan import __version__
from netplan.__main__ import main as command_line
from netplan.core.errors import BadInputError
from netplan.readers import write_layers
from netplan.rules import default_rules
from netplan.screening import ScreenSettings
from netplan.screening.cluster_workers import _made, _worked
from netplan.screening.main_blocks import BLOCK_MAINS, screen_block
from netplan.screening.main_evaluator import MainEvaluator
from netplan.screening.screen_run import Districts
from tests.benchmarks.isolation_grids import isolation_grid
from tests.benchmarks.layer_grids import grid_layers
from tests.support.machines import WAIT_S, Machines, kill, page_command, until

PIPES = 3000


QUICK = ("--no-pressure", "--no-places")


def _screen(command: list[str], out: Path) -> list[str]:
    """Return a command of the page for this network and folder, and less work."""
    names = {"NETWORK": str(out.parent / "grid.gpkg"), "screen-a": str(out)}
    return [*(names.get(word, word) for word in command), *QUICK]


def _here(monkeypatch: pytest.MonkeyPatch, command: list[str]) -> None:
    """Run the command in this process, which has loaded all that it needs."""
    monkeypatch.setattr("sys.argv", command[2:])
    with pytest.raises(SystemExit) as end:
        command_line()
    assert end.value.code == 0


def test_workers_and_scheduler_killed_and_equal_bytes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    run = tmp_path / "run"
    run.mkdir()
    write_layers(grid_layers(PIPES), run / "grid.gpkg")
    alone, cluster, blocks = run / "alone", run / "cluster", run / "cluster.blocks"

    def kept() -> int:
        return len(list(blocks.glob("*.parquet")))

    with Machines(tmp_path, run) as machines:
        workers = machines.start(3)
        # A scheduler is waited for as long as Dask waits for a connection.
        screen, resume = (
            page_command(f"gas-netplan screen NETWORK --out screen-a --{option}", machines.address)
            for option in ("scheduler", "resume")
        )
        begun = machines.run(_screen(screen, cluster), DASK_DISTRIBUTED__COMM__TIMEOUTS__CONNECT="10s")
        # Each has a block in hand; one of them is killed with it, the others finish one each.
        until(lambda: all(worker.holds() == 1 for worker in workers), "a block in every hand", begun)
        assert kept() == 0
        kill(workers[0].process)
        for worker in workers[1:]:
            worker.let(1)
        until(lambda: kept() == 2 and all(w.holds() == 2 for w in workers[1:]), "two blocks", begun)
        machines.kill_scheduler()
        # Back, with one machine: the run goes on by itself.
        (back,) = machines.start(1)
        until(lambda: back.holds() == 1, "a block after the scheduler is back", begun)
        back.let(2)
        until(lambda: kept() == 4 and back.holds() == 3, "two blocks more", begun)
        machines.kill_scheduler()
        _here(monkeypatch, _screen(resume[:-1], alone))
        # Not back: one line, and what is finished stays.
        _, said = begun.communicate(timeout=WAIT_S)
        assert said == (
            f"gas-netplan: --scheduler {machines.address}: lost, and not back within 10 s; finished mains are "
            "kept; continue with --resume\n"
        )
        assert begun.returncode == BadInputError.exit_code
    assert kept() == 4
    assert not cluster.exists()
    asked: list[int] = []

    def counted(evaluator: MainEvaluator, local: Sequence[int], mains: Sequence[int]) -> Any:
        asked.append(len(mains))
        return screen_block(evaluator, local, mains)

    monkeypatch.setattr("netplan.screening.block_workers.screen_block", counted)
    _here(monkeypatch, _screen(resume, cluster))
    names = sorted(path.name for path in alone.iterdir())
    assert names == ["mains.csv", "mains.parquet", "map.html", "report.md"]
    for name in names:
        assert (cluster / name).read_bytes() == (alone / name).read_bytes(), name
    assert sum(asked) == len(gpd.read_parquet(alone / "mains.parquet")) - 4 * BLOCK_MAINS
    assert capsys.readouterr().out.count("541 mains, stops are found for 541") == 2


def test_a_worker_of_another_version_is_refused() -> None:
    network = isolation_grid(300)
    evaluator = MainEvaluator(Districts(network, default_rules(), ScreenSettings(pressure=False))(0)[0])
    assert isinstance(_worked(evaluator, [0], [0], __version__), bytes)
    for answer in (_worked(evaluator, [0], [0], "0.0.1"), _made(b"", "0.0.1")):
        assert isinstance(answer, BadInputError)
        assert "this screen is made by 0.0.1; install one version on all machines, then --resume" in str(
            answer
        )
    # What goes wrong in a worker is an answer too, and stays one.
    broken = _made(b"no district", __version__)
    assert isinstance(broken, str)
    assert broken.startswith("UnpicklingError: ")
    assert _worked(broken, [0], [0], __version__) == broken
