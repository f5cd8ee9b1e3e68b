"""The plan kept of every release: this version still reads, rebuilds and explains it (own)."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import netplan
from netplan.outputs.choices import Choices
from netplan.outputs.folder import write_deliverables_again
from netplan.outputs.layers import read_plan_layers
from netplan.plan.explaining import explain, figures_to_explain
from netplan.plan.rebuilt import rebuilt
from netplan.plan.schema import plan_to_json, read_plan

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
    for key in raw:
        if isinstance(raw[key], dict):
            assert {name: again[key][name] for name in raw[key]} == raw[key], key
        elif key != "options":
            assert again[key] == raw[key], key
    assert len(again["options"]) == len(raw["options"])
    for old, new in zip(raw["options"], again["options"], strict=True):
        # Later versions may add keys; none may change.
        assert _as_kept(new, old) == old


@pytest.mark.parametrize("folder", PLANS, ids=lambda path: path.name)
def test_a_saved_plan_is_solved_and_explained_again(folder: Path) -> None:
    plan, layers = read_plan(folder), read_plan_layers(folder)
    for option in plan.options:
        state = rebuilt(plan, layers, option.rank)
        # No feed in these plans: the planned demand solved anew gives the pressures of the layer.
        solved = state.case(state.rules).solve([], state.rules).pressure_pa_gauge / 100.0
        nodes = layers["nodes"][layers["nodes"].option == option.rank].set_index("node").reindex(state.node)
        held = nodes.pressure_mbar.to_numpy(float)
        both = np.isfinite(held) & np.isfinite(solved)
        assert both.sum() > 50
        assert np.abs(held - solved)[both].max() < 1e-4
        for figure in figures_to_explain(option):
            found = explain(plan, layers, figure.name, option.rank)
            assert found.agrees, figure.name


@pytest.mark.parametrize("folder", PLANS, ids=lambda path: path.name)
def test_papers_are_made_from_a_saved_plan(folder: Path, tmp_path: Path) -> None:
    write_deliverables_again(folder, tmp_path / "again", choices=Choices(option=2, papers=False))
    assert (tmp_path / "again" / "map.html").stat().st_size > 10_000
    assert (tmp_path / "again" / "notices.csv").is_file()
