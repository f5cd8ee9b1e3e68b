"""The plan kept of every release: this version still reads, rebuilds and explains it (own)."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import netplan
from netplan.explain import explain, figures_to_explain
from netplan.outputs.layers import read_plan_layers
from netplan.outputs.plan_folder import write_deliverables_again
from netplan.outputs.reader_choices import Choices
from netplan.planfile import read_state
from netplan.planfile.plan_json import plan_to_json, read_plan
from netplan.planning.resize_problem import resize_problem

PLANS = sorted(path for path in (Path(__file__).parent / "plans").iterdir() if path.is_dir())


def test_there_is_a_plan_of_this_release() -> None:
    assert netplan.__version__ in {path.name for path in PLANS}


def _as_kept(new: Any, old: Any) -> Any:
    """Return a value without the keys that its older form does not have."""
    if isinstance(old, dict):
        return {key: _as_kept(new[key], old[key]) for key in old}
    if isinstance(old, list) and len(new) == len(old):
        return [_as_kept(one, other) for one, other in zip(new, old, strict=True)]
    return new


@pytest.mark.parametrize("folder", PLANS, ids=lambda path: path.name)
def test_a_saved_plan_is_read_as_it_was_written(folder: Path) -> None:
    plan = read_plan(folder)
    raw = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    again = json.loads(plan_to_json(plan))
    assert _what_changed(raw, again) == []


def _what_changed(old: Any, new: Any, where: str = "plan") -> list[str]:
    """Later versions may add keys anywhere; none may change, and no row may come or go."""
    if isinstance(old, dict) and isinstance(new, dict):
        missing = [f"{where}.{key}" for key in old if key not in new]
        pairs = [(old[key], new[key], f"{where}.{key}") for key in old if key in new]
        return missing + [found for pair in pairs for found in _what_changed(*pair)]
    if isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        rows = enumerate(zip(old, new, strict=True))
        return [found for k, (a, b) in rows for found in _what_changed(a, b, f"{where}[{k}]")]
    return [] if old == new else [where]


@pytest.mark.parametrize("folder", PLANS, ids=lambda path: path.name)
def test_a_saved_plan_is_solved_and_explained_again(folder: Path) -> None:
    plan, layers = read_plan(folder), read_plan_layers(folder)
    assert len(plan.options) == 2
    for option in plan.options:
        state = read_state(layers, option.rank)
        problem = resize_problem(plan, state)
        # No feed in these plans: the planned demand solved anew gives the pressures of the layer.
        solved = problem.case(problem.rules).solve([], problem.rules).pressure_pa_gauge / 100.0
        nodes = (
            layers["nodes"][layers["nodes"].option == option.rank]
            .set_index("node")
            .reindex(problem.network.node)
        )
        held = nodes.pressure_mbar.to_numpy(float)
        both = np.isfinite(held) & np.isfinite(solved)
        assert both.sum() > 50
        assert np.abs(held - solved)[both].max() < 1e-4
        for figure in figures_to_explain(option):
            found = explain(plan, state, figure.name)
            assert found.agrees, figure.name


@pytest.mark.parametrize("folder", PLANS, ids=lambda path: path.name)
def test_papers_are_made_from_a_saved_plan(folder: Path, tmp_path: Path) -> None:
    write_deliverables_again(folder, tmp_path / "again", choices=Choices(option=2, papers=False))
    assert (tmp_path / "again" / "map.html").stat().st_size > 10_000
    assert (tmp_path / "again" / "notices.csv").is_file()
