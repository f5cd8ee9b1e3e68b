"""The pictures of a plan's bypasses, drawn right after the plan is made."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from netplan.core.errors import BadInputError
from netplan.outputs.charts.resized_charts import write_resized_charts
from netplan.outputs.layers import read_plan_layers
from netplan.outputs.number_format import Figures
from netplan.planfile import read_state
from netplan.planfile.plan_json import read_plan
from netplan.planning.resize import ResizeRequest, resize
from netplan.planning.resize_problem import resize_problem

__all__ = ["check_pictures", "draw_pictures"]


def check_pictures(folder: Path | None) -> None:
    """Refuse a folder for pictures whose parent is not there, before anything is worked out.

    Raises
    ------
    BadInputError
    """
    if folder is not None and not folder.parent.is_dir():
        raise BadInputError(f"--charts: {folder.parent} is no folder; make it first")


def draw_pictures(plan_dir: Path, folder: Path, units: Figures, tell: Callable[[str], None]) -> str:
    """Draw the bypasses of the best option that has any, from the plan folder alone; say what was done.

    The same pictures as ``gas-netplan bypass PLAN_DIR --charts`` makes with nothing changed.
    """
    plan = read_plan(plan_dir)
    rank = next((option.rank for option in plan.options if option.bypasses), None)
    if rank is None:
        return "Pictures: none, no option has a bypass or hose"
    tell("drawing")
    state = read_state(read_plan_layers(plan_dir), rank)
    found = resize(resize_problem(plan, state), ResizeRequest(), weather=False)
    write_resized_charts(found, folder, units=units)
    return f"Pictures of option {rank}: {folder.resolve()}"
