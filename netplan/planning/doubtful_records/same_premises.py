"""Customers who may be the same premises as one that the work leaves without gas, under another id."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from scipy.spatial import KDTree

from netplan.network.checks.duplicates import PREMISES_M, plain_addresses
from netplan.planning.context import PlanningContext

__all__ = ["same_premises_as"]


def same_premises_as(context: PlanningContext, off: Collection[str]) -> list[tuple[int, str]]:
    """Return the rows of such customers in the whole network, and why each is in doubt.

    They have the address of one who is off, in whatever case, spacing and punctuation, and lie near it.

    Parameters
    ----------
    context : PlanningContext
    off : collection of str
        Customers that are off by the option.
    """
    everyone = context.customers_everywhere
    xy = np.column_stack([everyone.x_m, everyone.y_m])
    is_off = np.asarray(
        pc.is_in(everyone.id.arrow, value_set=pa.array(sorted(off), pa.string())).to_numpy(
            zero_copy_only=False
        ),
        dtype=bool,
    )
    gone = np.flatnonzero(is_off & np.isfinite(xy).all(axis=1))
    if not len(gone):
        return []
    low, high = xy[gone].min(axis=0) - PREMISES_M, xy[gone].max(axis=0) + PREMISES_M
    near = np.flatnonzero(~is_off & (xy >= low).all(axis=1) & (xy <= high).all(axis=1))
    of_gone = plain_addresses(everyone.address.take(gone)).to_pylist()
    tree = KDTree(xy[gone])
    found: list[tuple[int, str]] = []
    for row, address in zip(
        near.tolist(), plain_addresses(everyone.address.take(near)).to_pylist(), strict=True
    ):
        gaps = {
            at: float(np.hypot(*(xy[gone[at]] - xy[row])))
            for at in tree.query_ball_point(xy[row], PREMISES_M)
            if address and of_gone[at] == address
        }
        if gaps:
            at = min(gaps, key=lambda one: (round(gaps[one], 6), one))
            why = (
                f"has the address of customer {everyone.id[int(gone[at])]}, {gaps[at]:.1f} m away, who is "
                "off; if they are the same premises, this customer is off too"
            )
            found.append((row, why))
    return found
