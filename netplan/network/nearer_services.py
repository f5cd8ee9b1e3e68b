"""Customers whose recorded service ends far from them while another service ends beside them."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints
from netplan.core.findings import Severity
from netplan.network.finding_log import FindingLog, listed
from netplan.network.normalise import NormalisedTable
from netplan.network.text_column import TextColumn

__all__ = ["nearer_services"]

_TIMES_FARTHER: Final = 2.0
"""The recorded service ends at least so many times as far away as the other one (own) [-]."""
_MOST_LETTERS: Final = 60


def nearer_services(
    customers: NormalisedTable,
    xy_m: Floats,
    feature_id: TextColumn,
    end_xy_m: Floats,
    recorded: tuple[Ints, Ints],
    reach_m: float,
    notes: FindingLog,
) -> Ints:
    """Return the customers that may hang on another service than the recorded one, and notice them.

    So it is where every service that a customer names ends farther than `reach_m` from it, another one ends
    within that distance, and at most half as far away. Swapped ids of two neighbours are found at both.

    Parameters
    ----------
    customers : NormalisedTable
    xy_m : float array, shape (customers, 2)
        Their places [m].
    feature_id : TextColumn
        Feature of every service row.
    end_xy_m : float array, shape (services, 2)
        Place of the customer's end of every service row [m].
    recorded : tuple of int64 arrays
        Customer row and service row of every service that a customer names and that is there.
    reach_m : float
        Greatest distance of a service end that a customer is taken to hang on [m].
    """
    who, service = recorded
    none = np.zeros(0, dtype=np.int64)
    if not len(who):
        return none
    gap = np.hypot(*(end_xy_m[service] - xy_m[who]).T)
    own = np.full(len(customers), np.inf)
    np.fmin.at(own, who, gap)
    asked = np.flatnonzero(np.isfinite(own) & (own > reach_m))
    if not len(asked):
        return none
    from scipy.spatial import KDTree  # a network that is kept needs none

    distance, nearest = KDTree(end_xy_m).query(xy_m[asked], distance_upper_bound=reach_m)
    found = _TIMES_FARTHER * np.asarray(distance) <= own[asked]
    rows, other = asked[found], np.asarray(nearest)[found]
    words = _Words(customers, xy_m, feature_id, end_xy_m, recorded)
    nearer = dict(zip(rows.tolist(), other.tolist(), strict=True))
    notes.add_each(
        "nearer-service",
        "customers",
        customers.id,
        rows,
        Severity.WARNING,
        lambda row: words.say(row, nearer[row]),
        "prove on site which service feeds it, and correct service_id",
        xy_m,
    )
    return rows


class _Words:
    """Words for one customer: its services, the nearer one, and who is recorded on that."""

    def __init__(
        self,
        customers: NormalisedTable,
        xy_m: Floats,
        feature_id: TextColumn,
        end_xy_m: Floats,
        recorded: tuple[Ints, Ints],
    ) -> None:
        self._customers, self._xy_m, self._feature_id = customers, xy_m, feature_id
        self._end_xy_m, (self._who, self._service) = end_xy_m, recorded

    def say(self, row: int, other: int) -> str:
        own = [int(service) for service in self._service[self._who == row]]
        name = self._feature_id[other]
        of_feature = np.flatnonzero(_equal(self._feature_id, name))
        holders = np.unique(self._who[np.isin(self._service, of_feature)]).tolist()
        ids = self._customers.text["id"]
        said = [f"{ids[who]} ({self._street(who)}), {self._gap(who, other):.1f} m from it" for who in holders]
        there = f"is recorded for {listed(said)}" if said else "is recorded for nobody"
        mine = listed([f"{self._feature_id[one]}, {self._gap(row, one):.1f} m away" for one in own])
        return (
            f"of {self._street(row)} is recorded on service {mine}, while service {name} ends "
            f"{self._gap(row, other):.1f} m away and {there}; the ids may be swapped"
        )

    def _gap(self, row: int, service: int) -> float:
        return float(np.hypot(*(self._end_xy_m[service] - self._xy_m[row])))

    def _street(self, row: int) -> str:
        text = self._customers.text
        words = " ".join((text["street"][row] or text["address"][row]).split())
        return words[:_MOST_LETTERS] or "unknown address"


def _equal(column: TextColumn, text: str) -> NDArray[Any]:
    same = pc.equal(column.arrow, pa.scalar(text, pa.string()))
    return np.asarray(same.to_numpy(zero_copy_only=False), dtype=bool)
