"""Customers who are others today than in the folder of a plan."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

import shapely

from netplan.network.model import Network
from netplan.network.vocabulary import Category
from netplan.planfile import SolvedState
from netplan.recheck.found_change import FoundChange

__all__ = ["customer_changes"]

SAME: Final = 1e-6
MOVED_M: Final = 0.1


def customer_changes(network: Network, state: SolvedState) -> Iterator[FoundChange]:
    """Yield customers who are new, gone, moved, or of whom a column that a plan rests on has changed."""
    customers, before = network.customers, state.customers
    recorded = {name: row for row, name in enumerate(before.customer_id)}
    for row, name in enumerate(customers.id):
        point = shapely.Point(float(customers.x_m[row]), float(customers.y_m[row]))
        old = recorded.get(name)
        if old is None:
            words = Category(int(customers.category[row])).word
            if customers.priority[row]:
                words += f", priority {customers.priority[row]}"
            yield FoundChange(
                "customers", name, f"new: {words}, {customers.address[row]}".rstrip(", "), point
            )
            continue
        changes = list(_differences(network, row, state, old))
        if changes:
            is_figure = not any(one.startswith("moved") for one in changes)
            yield FoundChange("customers", name, "; ".join(changes), point, is_figure=is_figure)
    for name, row in recorded.items():
        if customers.id.find(name) < 0:
            point = shapely.Point(float(before.x_m[row]), float(before.y_m[row]))
            what = f"not in the records any more: {before.address[row]}".rstrip(": ")
            yield FoundChange("customers", name, what, point)


def _differences(network: Network, row: int, state: SolvedState, old: int) -> Iterator[str]:
    customers, before = network.customers, state.customers
    texts = (
        ("priority", customers.priority[row], before.priority[old]),
        ("address", customers.address[row], before.address[old]),
        ("street", customers.street[row], before.street[old]),
        ("number", customers.number[row], before.number[old]),
        ("postcode", customers.postcode[row], before.postcode[old]),
        ("category", Category(int(customers.category[row])).word, before.category[old]),
        ("language", customers.language[row], before.language[old]),
    )
    for what, now, was in texts:
        if now != was:
            yield f"{what} {now or 'none'} instead of {was or 'none'}"
    if int(customers.meters[row]) != int(before.meters[old]):
        yield f"{int(customers.meters[row])} meters instead of {int(before.meters[old])}"
    figures = (
        ("yearly energy", float(customers.annual_kwh[row]), float(before.annual_kwh[old]), "kWh"),
        ("peak power", float(customers.peak_kw[row]), float(before.peak_kw[old]), "kW"),
    )
    for what, now_figure, was_figure, unit in figures:
        if not _same(now_figure, was_figure):
            yield f"{what} {_number(now_figure, unit)} instead of {_number(was_figure, unit)}"
    moved_m = (
        math.hypot(
            float(customers.x_m[row]) - float(before.x_m[old]),
            float(customers.y_m[row]) - float(before.y_m[old]),
        )
        / network.scale
    )
    if moved_m > MOVED_M:
        yield f"moved by {moved_m:.1f} m"


def _same(one: float, other: float) -> bool:
    if math.isnan(one) or math.isnan(other):
        return math.isnan(one) and math.isnan(other)
    return abs(one - other) <= SAME * max(1.0, abs(other))


def _number(value: float, unit: str) -> str:
    return (
        "not recorded"
        if math.isnan(value)
        else f"{value:.0f} {unit}"
        if unit == "kWh"
        else f"{value:g} {unit}"
    )
