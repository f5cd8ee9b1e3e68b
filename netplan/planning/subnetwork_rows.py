"""What is said in rows of a whole network, in rows of a subnetwork of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Ints
from netplan.isolation import Cut, Orders, Stretch
from netplan.network.subnetwork import BoundaryAffectedError, Subnetwork

__all__ = ["cut_within", "orders_within", "rows_within"]


def cut_within(cut: Cut, subnetwork: Subnetwork) -> Cut:
    """Return a cut of the whole network as one of a subnetwork.

    Raises
    ------
    BoundaryAffectedError
        When a part of it is not within.
    """
    rows = subnetwork.rows

    def here(table: Ints, row: int) -> int:
        if row < 0:
            return row
        place = int(np.searchsorted(table, row))
        if place == len(table) or table[place] != row:
            raise BoundaryAffectedError
        return place

    def all_here(table: Ints, given: NDArray[np.int32]) -> NDArray[np.int32]:
        return np.array([here(table, row) for row in given.tolist()], dtype=np.int32)

    return replace(
        cut,
        stops=tuple(
            replace(
                stop,
                pipe=here(rows.pipe, stop.pipe),
                piece=here(rows.piece, stop.piece),
                valve=here(rows.valve, stop.valve),
                live_node=here(rows.node, stop.live_node),
                zone_node=here(rows.node, stop.zone_node),
                tappings=tuple(replace(one, pipe=here(rows.pipe, one.pipe)) for one in stop.tappings),
                beyond=tuple(replace(one, pipe=here(rows.pipe, one.pipe)) for one in stop.beyond),
            )
            for stop in cut.stops
        ),
        zones=tuple(
            replace(
                zone,
                nodes=all_here(rows.node, zone.nodes),
                pieces=tuple(
                    replace(part, piece=here(rows.piece, part.piece), pipe=here(rows.pipe, part.pipe))
                    for part in zone.pieces
                ),
            )
            for zone in cut.zones
        ),
        customers=all_here(rows.customer, cut.customers),
        severed=all_here(rows.customer, cut.severed),
        priority_customers=all_here(rows.customer, cut.priority_customers),
        shut_in_stations=tuple(here(rows.station, row) for row in cut.shut_in_stations),
    )


def orders_within(orders: Orders, subnetwork: Subnetwork) -> Orders:
    """Return orders as far as they concern what is within; what lies beyond is not touched anyhow.

    Raises
    ------
    BoundaryAffectedError
        When a stop is ordered beyond.
    """
    rows = subnetwork.rows

    def within(stretches: tuple[Stretch, ...]) -> tuple[Stretch, ...]:
        return tuple(
            replace(stretch, pipe=pipe)
            for stretch in stretches
            for pipe in rows_within((stretch.pipe,), rows.pipe)
        )

    force, valves = within(orders.force), rows_within(orders.force_valves, rows.valve)
    if len(force) < len(orders.force) or len(valves) < len(orders.force_valves):
        raise BoundaryAffectedError
    return replace(
        orders,
        force=force,
        force_valves=valves,
        forbid=within(orders.forbid),
        forbid_valves=rows_within(orders.forbid_valves, rows.valve),
        keep_customers=rows_within(orders.keep_customers, rows.customer),
        tapped=within(orders.tapped),
    )


def rows_within(given: tuple[int, ...], rows: Ints) -> tuple[int, ...]:
    """Return rows of a table of the whole as rows within, those that lie beyond left out.

    Parameters
    ----------
    given : tuple of int
    rows : int array
        Rows of the whole that are within, ascending.
    """
    place = np.searchsorted(rows, given)
    at = np.minimum(place, max(len(rows) - 1, 0))
    return tuple(
        int(here) for here, row in zip(at.tolist(), given, strict=True) if len(rows) and rows[here] == row
    )
