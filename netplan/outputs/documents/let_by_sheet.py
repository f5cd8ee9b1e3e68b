"""The let-by sheet: what each test shows, what is open, where the meter stands, the limit, room to write."""

from __future__ import annotations

from typing import Any

from netplan.outputs.item_words import item_words, joined_ids, states_after
from netplan.outputs.number_format import Figures
from netplan.planfile.model import LetByTest, Option, Step

__all__ = ["let_by_limit", "let_by_part"]


def let_by_part(option: Option, units: Figures) -> dict[str, Any]:
    """Return a row for each let-by test of the order, in its order."""
    rows = []
    for place, step in enumerate(option.steps):
        if step.let_by is not None:
            now = states_after(option, option.steps[: place + 1])
            opened = [
                id_ for (kind, id_), state in now.items() if kind in ("vent", "valve") and state == "open"
            ]
            rows.append(_row(step, step.let_by, opened, option, units))
    return {"let-by": rows}


def _row(step: Step, test: LetByTest, opened: list[str], option: Option, units: Figures) -> dict[str, Any]:
    items = {item.id: item for item in option.items if item.kind in ("vent", "valve")}
    barriers = joined_ids(test.barriers) or "what is drawn from the zone"
    at = items.get(test.meter_at)
    return {
        "name": test.name,
        "n": str(step.n),
        "shows": f"sum of {barriers}" if test.is_sum else barriers,
        "open": joined_ids(opened) or "nothing",
        "meter": (f"{test.meter_at}, {item_words(at)}" if at and at.of != at.id else test.meter_at)
        or "no meter",
        "across": "" if test.across_mbar is None else units.pressure(test.across_mbar),
        "zone": "" if test.zone_mbar is None else units.pressure(test.zone_mbar),
        "limit": let_by_limit(test, units),
        "resolution": "" if test.resolution_l_min is None else units.let_by(test.resolution_l_min),
        "minutes": f"{test.minutes:g} min",
    }


def let_by_limit(test: LetByTest, units: Figures) -> str:
    """Return the limits of a let-by test, each on its safe side."""
    finer = units.with_more_digits("pressure", 1)
    parts = []
    if test.limit_l_min is not None:
        parts.append(units.let_by(test.limit_l_min))
    if test.limit_mbar is not None:
        parts.append(finer.text("pressure", test.limit_mbar, "down"))
    return "; ".join(parts)
