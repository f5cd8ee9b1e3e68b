"""One mutant: made from its seed, looked at, planned on, and judged."""

from __future__ import annotations

import hashlib
import io
import json
import shutil
import signal
import time
import traceback
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import FrameType
from typing import Any

import numpy as np

from netplan.cli.terminal import PlainConsole
from netplan.core.errors import BadNetworkError, NetplanError
from netplan.core.findings import errors_of
from netplan.network.build import build_network
from netplan.network.checks.survey import survey
from netplan.network.raw_layers import as_raw
from netplan.network.work_section import WorkPart
from netplan.outputs.findings_files import findings_json, findings_layer
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.terminal.findings_report import print_findings
from netplan.outputs.terminal.plan_summary import print_summary
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.readers import read_layers
from netplan.rules import Rules, read_rules
from tests.fuzz.damage import damaged
from tests.fuzz.districts import NAMES, district
from tests.fuzz.files import FORMATS, damaged_bytes, whole_files

__all__ = ["LIMIT_S", "WALL_LIMIT_S", "Outcome", "TooLongError", "try_seed"]

LIMIT_S = 20.0
"""A mutant that takes longer than this hangs: processor time, as the machine may have other work [s]."""
WALL_LIMIT_S = 6 * LIMIT_S
"""A mutant that takes longer than this by the clock waits for something that never comes [s]."""
FILE_SHARE, FOLDER_SHARE = 0.15, 0.01
_HELD = ("plan.json", "plan.gpkg", "map.html", "notices.csv", "notices.xlsx", "work_pack.pdf")


class TooLongError(BaseException):
    """The mutant hangs; no `except Exception` may hide it."""


@dataclass(frozen=True)
class Outcome:
    """What became of a mutant.

    Parameters
    ----------
    seed : int
    how : str
        Town, and by which door it came.
    damage : tuple of str
    code : int
        Exit code that the command line would return; -1 for a fault.
    says : str
        The line a person would read.
    seconds : float
        Processor time [s].
    fault : str
        What must not happen; empty when nothing of it did.
    """

    seed: int
    how: str
    damage: tuple[str, ...]
    code: int
    says: str
    seconds: float
    fault: str = ""


def try_seed(seed: int, place: Path, towns: tuple[str, ...] = NAMES) -> Outcome:
    """Make the mutant of a seed, look at it and plan on it, inside an empty folder."""
    rng = np.random.default_rng(seed)
    town = towns[seed % len(towns)]
    from_file = rng.random() < FILE_SHARE
    whole = rng.random() < FOLDER_SHARE
    damage: list[str] = []
    begun = time.process_time()
    code, says, fault = -1, "", ""
    try:
        with warnings.catch_warnings(action="ignore"):
            layers, done = ({}, []) if from_file else damaged(district(town)[0], rng)
        damage += done
        with _limit(), warnings.catch_warnings(action="error"):
            if from_file:
                _through_files(town, rng, place, damage)
            else:
                raw = {k: as_raw(k, v) for k, v in layers.items()}
                _look_and_plan(raw, town, place, whole=whole, again=seed % 4 == 0)
        code = 0
    except NetplanError as error:
        code, says = error.exit_code, str(error)
    except TooLongError:
        fault = f"hangs: over {LIMIT_S:g} s of processor time, or {WALL_LIMIT_S:g} s by the clock"
    except BaseException:
        fault = traceback.format_exc(limit=-6)
    finally:
        left = sorted(str(p.relative_to(place)) for p in place.iterdir()) if place.is_dir() else []
        if left and not fault:
            fault = f"left behind: {left}"
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir()
    how = f"{town} {'file' if from_file else 'folder' if whole else 'memory'}"
    return Outcome(seed, how, tuple(damage), code, says, time.process_time() - begun, fault)


@lru_cache(maxsize=2)
def _rules(quick: bool) -> Rules:
    # Of the hose sizes one is enough: what they differ in is not what damaged data differs in.
    budget = {"choice": {"max_solves": 400, "max_zones": 40}}
    return read_rules(None, budget | ({"bypass": {"bores_mm": [63.0]}} if quick else {}))


def _look_and_plan(
    raw: Mapping[str, Any], town: str, place: Path, *, whole: bool = False, again: bool = True
) -> None:
    seen = survey(raw)
    json.loads(findings_json(seen.findings, seen.crs))
    findings_layer(seen.findings, seen.crs)
    if again:  # what a screen of findings takes, the table alone: a share of them is enough
        screen = PlainConsole(file=io.StringIO(), width=100)
        print_findings(seen.findings, screen)
        _only_readable(screen)
    stops = errors_of(seen.findings)
    network = seen.network
    if again:
        try:
            network = build_network(raw)
        except BadNetworkError:
            assert stops, "refused by the plan, not by the check"
            raise
        assert not stops, f"refused by the check, not by the plan: {stops[0].line()}"
    if stops or network is None:
        raise BadNetworkError(stops[0].line() if stops else "not joined", seen.findings)
    work = district(town)[1]
    result = make_plan(
        PlanRequest(
            network,
            (WorkPart(work.main_id, work.from_m, work.to_m),),
            _rules(not whole),
            air_temp_c=4.0,
            options=1,
            weather=whole,
        )
    )
    screen = PlainConsole(file=io.StringIO(), width=100)
    print_summary(result.plan, screen)
    _only_readable(screen)
    if whole:
        out = write_plan_folder(result, place / "plan")
        missing = [name for name in _HELD if not (out / name).stat().st_size]
        assert not missing, missing
        shutil.rmtree(out)


def _only_readable(screen: PlainConsole) -> None:
    text = screen.file.getvalue()  # type: ignore[attr-defined]
    assert not any(ord(letter) < 32 and letter != "\n" for letter in text), "control characters on screen"


def _through_files(town: str, rng: np.random.Generator, place: Path, damage: list[str]) -> None:
    file_format = str(rng.choice(FORMATS))
    files = dict(whole_files(town, file_format))
    for _ in range(int(rng.choice([1, 1, 2]))):
        name = str(rng.choice(sorted(files)))
        files[name], way = damaged_bytes(files[name], rng, is_text=name.endswith(("json", "prj", "cpg")))
        damage.append(f"{way} {name}")
    for name, data in files.items():
        path = place / "input" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    before = _digests(place / "input")
    top = "network.gpkg" if file_format == "gpkg" else "network"
    try:
        _look_and_plan(read_layers(place / "input" / top).layers, town, place)
    finally:
        after = _digests(place / "input")
        assert after == before, f"the input changed: {sorted(set(after.items()) ^ set(before.items()))}"
        shutil.rmtree(place / "input")


def _digests(folder: Path) -> dict[str, str]:
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@contextmanager
def _limit() -> Iterator[None]:
    processor, clock = time.process_time(), time.monotonic()

    def ring(_number: int, _frame: FrameType | None) -> None:
        if time.process_time() - processor > LIMIT_S or time.monotonic() - clock > WALL_LIMIT_S:
            raise TooLongError

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, LIMIT_S, 1.0)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
