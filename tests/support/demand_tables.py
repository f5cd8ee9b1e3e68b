"""Small customers' tables for tests of demand."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from netplan.network.model import Customers
from netplan.network.text_column import TextColumn

__all__ = ["NAN", "customers_table"]

NAN = float("nan")


def customers_table(
    annual_kwh: Sequence[float],
    peak_kw: Sequence[float] | None = None,
    category: Sequence[int] | None = None,
    meters: Sequence[int] | None = None,
    attach: Sequence[Sequence[int]] | None = None,
) -> Customers:
    """Return customers ``c0``, ``c1``, … with the given demand; attached at node i unless told otherwise."""
    count = len(annual_kwh)
    nodes = [[i] for i in range(count)] if attach is None else [list(n) for n in attach]
    blank = TextColumn([""] * count)
    return Customers(
        id=TextColumn([f"c{i}" for i in range(count)]),
        address=blank,
        street=blank,
        number=blank,
        postcode=blank,
        town=blank,
        priority=blank,
        priority_note=blank,
        telephone=blank,
        language=blank,
        category=np.array(category if category is not None else [0] * count, dtype=np.uint8),
        meters=np.array(meters if meters is not None else [1] * count, dtype=np.int32),
        annual_kwh=np.array(annual_kwh, dtype=float),
        peak_kw=np.array(peak_kw if peak_kw is not None else [NAN] * count, dtype=float),
        service_regulator=np.zeros(count, dtype=np.uint8),
        x_m=np.zeros(count),
        y_m=np.zeros(count),
        attach_start=np.cumsum([0, *(len(n) for n in nodes)]).astype(np.int32),
        attach_node=np.array([n for own in nodes for n in own], dtype=np.int32),
        attached_by=np.ones(count, dtype=np.uint8),
    )
