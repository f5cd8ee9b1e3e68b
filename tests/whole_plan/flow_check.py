"""The checks' own solver against pandapipes, on a plan folder's all-in state."""

from __future__ import annotations

import json
import math
from pathlib import Path

from tests.support.gpkg_flow import read, rebuild
from tests.whole_plan.case import Case
from tests.whole_plan.papers import layer_of
from tests.whole_plan.pressures import solve_all_in
from tests.whole_plan.walk import Raw

__all__ = ["apart_mbar"]


def apart_mbar(raw: Raw, folder: Path) -> tuple[float, int]:
    """Return the greatest difference at a meter inlet with all stops in [mbar], and how many were compared."""
    plan = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    case = Case(raw, plan, plan["options"][0])
    people = layer_of(folder, "customers")
    inlets = solve_all_in(case, people)
    layers = read(folder / "plan.gpkg", 1)
    theirs = rebuild(layers)
    rows = layers["customers"]
    apart = [
        abs(inlets[row.customer_id] - theirs.pressure_mbar[int(row.node)])
        for row in rows.itertuples()
        if len(raw.ends_of[row.customer_id]) == 1
        and math.isfinite(inlets.get(row.customer_id, math.inf))
        and int(row.node) in theirs.pressure_mbar
    ]
    return max(apart, default=math.inf), len(apart)
