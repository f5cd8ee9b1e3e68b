"""The list of tappings: every hole in a main, tested, drilled, its coupon kept, capped at the end."""

from __future__ import annotations

from typing import Any

from netplan.outputs.item_words import item_words, joined_ids
from netplan.outputs.number_format import Figures
from netplan.planfile.model import Option, OrderItem, Tapping

__all__ = ["tappings_part"]


def tappings_part(option: Option, units: Figures) -> dict[str, Any]:
    """Return a row for each tapping of the order, and how many coupons and caps there must be."""
    sizes = _sizes(option)
    at = _steps_of(option)
    rows = []
    for item in option.items:
        if item.kind != "tapping":
            continue
        size_mm, count = sizes.get(item.id, (None, 1))
        rows.append(
            {
                "id": item.id,
                "what": item_words(item),
                "size": ("" if size_mm is None else units.bore(size_mm))
                + (f", {count} of them" if count > 1 else ""),
                "place": item.main_id
                + ("" if item.chainage_m is None else f" at {units.chainage(item.chainage_m)}"),
                "hole": item.hole_id,
                **{state: at.get((item.id, state), "") for state in ("tested", "drilled", "capped")},
            }
        )
    total = sum(sizes.get(item.id, (None, 1))[1] for item in option.items if item.kind == "tapping")
    return {"tappings": rows, "tappings-total": str(total), "others": _others(option, units)}


def _sizes(option: Option) -> dict[str, tuple[float | None, int]]:
    """Return outlet and number of every tapping that has them on record, by id."""
    found: dict[str, tuple[float | None, int]] = {}
    owners: list[Tapping] = [t for stop in option.stops for t in stop.tappings]
    owners += [t for one in option.prepared_fallbacks for t in one.tappings]
    for tapping in owners:
        if tapping.id:
            found[tapping.id] = (tapping.size_mm or None, tapping.count)
    points = {point.id: point.outlet_mm for point in option.purge.points}
    for item in option.items:
        if item.kind != "tapping" or item.id in found:
            continue
        if item.of in points:
            found[item.id] = (points[item.of], 1)
        for bypass in option.bypasses:
            if bypass.id == item.of:
                found[item.id] = (_outlet(bypass, item), bypass.parallel)
    return found


def _outlet(bypass: Any, item: OrderItem) -> float | None:
    """Return the outlet of a bypass at the end where a tapping is."""
    ends = ((bypass.from_, bypass.outlet_from_mm), (bypass.to, bypass.outlet_to_mm))
    near = [
        (abs(end.chainage_m - (item.chainage_m or 0.0)), outlet)
        for end, outlet in ends
        if end.main_id == item.main_id
    ]
    return min(near, key=lambda one: one[0])[1] if near else None


def _steps_of(option: Option) -> dict[tuple[str, str], str]:
    """Return at which step a tapping comes into a state."""
    found: dict[tuple[str, str], str] = {}
    for step in option.steps:
        for change in step.changes:
            if change.kind == "tapping":
                found.setdefault((change.id, change.to), str(step.n))
    return found


def _others(option: Option, units: Figures) -> list[dict[str, str]]:
    """Return the barriers, vents and valves of the order with what they are and where."""
    rows = []
    for item in option.items:
        if item.kind in ("barrier", "vent", "valve"):
            at = f" at {units.chainage(item.chainage_m)}" if item.chainage_m is not None else ""
            rows.append(
                {
                    "id": item.id,
                    "what": item_words(item),
                    "on": joined_ids([item.tapping_id] if item.tapping_id else []),
                    "place": f"{item.main_id}{at}",
                    "hole": item.hole_id,
                }
            )
    return rows
