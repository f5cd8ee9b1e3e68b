"""The files of a plan folder, one after another."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from netplan.outputs.figures import figures_of
from netplan.outputs.layers import plan_layers, write_layers
from netplan.outputs.map import plan_map
from netplan.outputs.notices import notice_rows, notices_csv
from netplan.plan.result import PlanResult
from netplan.plan.schema import plan_to_json

__all__ = ["write_contents"]


def write_contents(
    result: PlanResult, folder: Path, *, units: str, option: int, progress: Callable[[str], None]
) -> None:
    """Write every file of a plan into an empty folder.

    Raises
    ------
    BadInputError
        When the units or the option are unknown.
    OSError
        When a file cannot be written.
    """
    figures = figures_of(units)
    plan = result.plan
    progress("plan.json")
    (folder / "plan.json").write_text(plan_to_json(plan), encoding="utf-8", newline="\n")
    progress("plan.gpkg")
    layers = plan_layers(result)
    write_layers(layers, folder / "plan.gpkg")
    progress("notices.csv")
    rows = notice_rows(plan, layers["customers"], option)
    (folder / "notices.csv").write_text(notices_csv(rows), encoding="utf-8", newline="")
    progress("map.html")
    (folder / "map.html").write_text(plan_map(plan, layers, units=figures), encoding="utf-8", newline="\n")
