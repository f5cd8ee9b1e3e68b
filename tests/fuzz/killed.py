"""Plan runs killed at any moment: no half plan, no changed input, nothing left that the next run does not clear.

    python -m tests.fuzz.killed 50

Each run is a child, forked when everything is imported, that plans on a small network and writes the whole plan
folder; it is killed (SIGKILL) at a seeded random moment of the time that a whole run takes. Half of the runs
replace an earlier plan.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from netplan.cli import main as command_line
from netplan.outputs.output_folders import check_target
from netplan.planfile.plan_json import read_plan
from netplan.readers import write_layers
from tests.fuzz.districts import district
from tests.support.letters import WORDS

__all__ = ["kill_runs"]

FILES = frozenset(
    {"plan.json", "plan.gpkg", "map.html", "work_day.html", "notices.csv", "notices.xlsx", "letters.pdf"}
    | {"tally_sheet.pdf", "call_sheet_restricted.pdf", "work_pack.pdf"}
)


def kill_runs(count: int, seed: int, folder: Path) -> tuple[Counter[str], float]:
    """Kill runs at random moments, and return what was found how often, and how long a whole run takes [s].

    Raises
    ------
    AssertionError
        When a run leaves anything that it must not.
    """
    layers, work = district("close")
    network = write_layers(layers, folder / "network.gpkg")
    before = _digest(network)
    arguments = ["plan", network, "--main", work.main_id, "--from", work.from_m, "--to", work.to_m]
    arguments += ["--air-temp", "4", "--options", "1", "--words", WORDS, "--overwrite"]
    seconds = max(_whole(arguments, folder / f"whole-{k}") for k in range(2))
    whole = _digests(folder / "whole-0")
    rng = random.Random(seed)  # noqa: S311
    found: Counter[str] = Counter()
    for number in range(count):
        place = folder / f"run-{number}"
        place.mkdir()
        out = place / "plan"
        replaces = number % 2 == 1
        if replaces:
            _copy(folder / "whole-0", out)
        moment = rng.uniform(0.0, 1.05 * seconds)
        child = _start([*arguments, "--out", out])
        time.sleep(moment)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        found[_judge(out, replaces=replaces, whole=whole)] += 1
        assert _digest(network) == before, f"run {number}, killed at {moment:.2f} s, changed its input"
    assert sorted(p.name for p in folder.iterdir() if p.name.startswith("network")) == ["network.gpkg"]
    return found, seconds


def _judge(out: Path, *, replaces: bool, whole: dict[str, str]) -> str:
    """Return what a killed run left, after checking that it may."""
    hidden = [path.name for path in out.parent.iterdir() if path.name != out.name]
    assert all(name.startswith((".plan.unfinished-", ".plan.earlier-")) for name in hidden), hidden
    if out.exists():
        _check_whole(out, whole)
    check_target(out, overwrite=True)  # what the next run does first
    assert [path.name for path in out.parent.iterdir()] == (["plan"] if out.exists() else [])
    if replaces:
        assert out.exists(), "an earlier plan is gone and no new one is there"
    if not out.exists():
        return "nothing there" if not hidden else "nothing there, leftovers cleared"
    _check_whole(out, whole)
    return "a whole plan" if not hidden else "a whole plan, leftovers cleared"


def _check_whole(out: Path, whole: dict[str, str]) -> None:
    assert {path.name for path in out.iterdir()} == FILES
    read_plan(out)
    # plan.json carries its time of making; the rest is the same bytes each time.
    own = _digests(out)
    assert {name: own[name] for name in FILES - {"plan.json"}} == {
        name: whole[name] for name in FILES - {"plan.json"}
    }


def _whole(arguments: list[object], out: Path) -> float:
    begun = time.perf_counter()
    _, status = os.waitpid(_start([*arguments, "--out", out]), 0)
    assert os.waitstatus_to_exitcode(status) == 0, "the run that nobody kills fails"
    return time.perf_counter() - begun


def _start(arguments: list[object]) -> int:
    child = os.fork()
    if child:
        return child
    try:
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        sys.argv = ["gas-netplan", *(str(argument) for argument in arguments)]
        command_line()
        os._exit(0)
    except SystemExit as left:
        os._exit(int(left.code or 0))
    finally:
        os._exit(1)


def _copy(source: Path, target: Path) -> None:
    target.mkdir()
    for path in source.iterdir():
        (target / path.name).write_bytes(path.read_bytes())


def _digests(folder: Path) -> dict[str, str]:
    return {path.name: _digest(path) for path in sorted(folder.iterdir())}


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def main() -> int:
    """Kill runs and say what they left."""
    parser = argparse.ArgumentParser(description="Plan runs killed at random moments.")
    parser.add_argument("count", type=int, help="how many runs")
    parser.add_argument("--seed", type=int, default=1, help="seed of the moments")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        found, seconds = kill_runs(given.count, given.seed, Path(folder))
    print(f"{given.count} runs of {seconds:.1f} s each killed at random moments:")
    for words, count in sorted(found.items()):
        print(f"  {words}: {count}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
