"""The questions whose answers are kept: plans, a screen and stages of three towns."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from typer.testing import CliRunner

from netplan.cli.app import app
from netplan.cli.sample import sample_network
from netplan.readers import write_layers
from tests.benchmarks.layer_grids import grid_layers
from tests.support import schutterwald

__all__ = ["CASES", "PINNED", "PINNED_FOLDER", "Case", "run_case", "town_file"]

PINNED_FOLDER: Final = Path(__file__).parent / "pinned"
GRID_PIPES: Final = 30_000
PLAN: Final = ("--no-papers", "--options", "3")


@dataclass(frozen=True)
class Case:
    """One command on one town.

    Parameters
    ----------
    name : str
        Of the folder it writes.
    town : str
        A key of `TOWNS`.
    command : str
        Of the command line.
    options : tuple of str
        Without the network and `--out`.
    """

    name: str
    town: str
    command: str
    options: tuple[str, ...]


def _sample(folder: Path) -> Path:
    return sample_network()


def _schutterwald(folder: Path) -> Path:
    path = folder / "schutterwald.gpkg"
    if not path.exists():
        write_layers(schutterwald.layers(), path)
    return path


def _grid(folder: Path) -> Path:
    path = folder / "grid.gpkg"
    if not path.exists():
        write_layers(grid_layers(GRID_PIPES), path)
    return path


TOWNS: Final[dict[str, Callable[[Path], Path]]] = {
    "sample": _sample,
    "schutterwald": _schutterwald,
    "grid": _grid,
}


def _schutterwald_rules(folder: Path) -> tuple[str, ...]:
    path = folder / "schutterwald.toml"
    demand = schutterwald.pinned_rules().demand
    path.write_text(
        "[demand]\n"
        + "".join(
            f"{key} = {getattr(demand, key)}\n"
            for key in ("margin", "small_group", "within_hour", "forecast_margin_c")
        )
    )
    return ("--rules", str(path), "--air-temp", f"{schutterwald.MILD_C:g}")


RULES: Final[dict[str, Callable[[Path], tuple[str, ...]]]] = {"schutterwald": _schutterwald_rules}
"""Options that a town needs beside those of the case."""


def _work(main_id: str, low: float, high: float) -> tuple[str, ...]:
    return ("--main", main_id, "--from", f"{low:g}", "--to", f"{high:g}")


PINNED: Final = (
    Case("sample-plan", "sample", "plan", (*_work("M0142", 158, 162), *PLAN, "--options", "2")),
    Case(
        "schutterwald-plan",
        "schutterwald",
        "plan",
        (*_work("M622", 8, 12), *PLAN, "--no-weather"),
    ),
    Case("sample-stages", "sample", "stage", ("--street", "Wren Street", "--no-weather", "--no-papers")),
)
"""Those that the suite runs and compares with the files in `pinned`."""
CASES: Final = (
    *PINNED,
    Case(
        "sample-plan-without-feeds",
        "sample",
        "plan",
        (*_work("M0017", 120, 126), *PLAN, "--no-bypass", "--no-weather"),
    ),
    Case("sample-plan-weather", "sample", "plan", (*_work("M0048", 50, 54), *PLAN)),
    Case("sample-plan-wide", "sample", "plan", (*_work("M0154", 268, 274), *PLAN, "--no-weather")),
    Case("sample-screen", "sample", "screen", ()),
    Case("schutterwald-screen", "schutterwald", "screen", ()),
    Case("grid-plan", "grid", "plan", (*_work("M0001000", 30, 36), *PLAN, "--any-size")),
    Case("grid-screen", "grid", "screen", ("--no-pressure", "--no-places")),
)


def town_file(name: str, folder: Path) -> Path:
    """Return the file of a town, written into a folder when it is not there yet."""
    return TOWNS[name](folder)


def run_case(case: Case, towns: Path, out: Path) -> Path:
    """Run a case into a folder of its own name; return it.

    Raises
    ------
    RuntimeError
        The command ended with another exit code than 0.
    """
    folder = out / case.name
    network = town_file(case.town, towns)
    options = [*case.options, *(RULES[case.town](towns) if case.town in RULES else ())]
    answer = CliRunner().invoke(app, [case.command, str(network), *options, "--out", str(folder)])
    if answer.exit_code:
        sys.stderr.write(answer.output)
        raise RuntimeError(f"{case.name}: exit code {answer.exit_code}") from answer.exception
    return folder
