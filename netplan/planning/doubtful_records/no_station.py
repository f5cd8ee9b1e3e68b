"""Customers near the work whom the records leave without any station: they most likely have gas."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.core.arrays import Flags
from netplan.network.topology import components, fed_nodes
from netplan.network.vocabulary import Attachment
from netplan.planning.context import PlanningContext
from netplan.planning.doubtful_records.cut_off_lengths import CutOff
from netplan.planning.doubtful_records.doubts import NEAR_M
from netplan.planning.doubtful_records.record_effects import OptionInDoubt

__all__ = ["without_station"]

_HAS_GAS: Final = "who most likely has gas and may hang on what the work cuts off"
_NO_WAY: Final = f"the records show no way for gas to reach this customer, {_HAS_GAS}"
_ON_NO_PIPE: Final = f"the records show no pipe for this customer, {_HAS_GAS}"


def without_station(
    context: PlanningContext, option: OptionInDoubt, cut_off: CutOff
) -> list[tuple[int, str]]:
    """Return the rows of such customers in the whole network, and why each is in doubt.

    A part of the network that no station feeds before any stop, of a pressure system that is worked on, is
    near when any of its nodes lies within `NEAR_M` of a length that is cut off; a customer on no pipe when it
    lies so near itself.
    """
    return [
        *((customer, _NO_WAY) for customer in _on_dead_pipes(context, option, cut_off)),
        *((customer, _ON_NO_PIPE) for customer in _on_no_pipe(context, cut_off)),
    ]


def _on_dead_pipes(context: PlanningContext, option: OptionInDoubt, cut_off: CutOff) -> list[int]:
    network = option.connectivity.network
    nodes, customers = network.nodes, network.customers
    fed = fed_nodes(network, injections=True)
    worked = np.unique(network.pipes.system[cut_off.pipe])
    dead = np.flatnonzero(~fed & np.isin(nodes.system, worked))
    near = dead[_near(nodes.x_m[dead], nodes.y_m[dead], cut_off)]
    part = components(network)
    chosen = np.zeros(int(part.max(initial=-1)) + 1, dtype=bool)
    chosen[part[near]] = True
    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    at = customers.attach_node
    has_gas, is_near = (
        np.bincount(owner, weights=flags, minlength=len(customers)) > 0
        for flags in (fed[at], chosen[part[at]])
    )
    rows: list[int] = context.rows_everywhere[np.flatnonzero(is_near & ~has_gas)].tolist()
    return rows


def _on_no_pipe(context: PlanningContext, cut_off: CutOff) -> list[int]:
    everyone = context.customers_everywhere
    placed = np.isfinite(everyone.x_m) & np.isfinite(everyone.y_m)
    rows = np.flatnonzero((everyone.attached_by == Attachment.NO_PIPE) & placed)
    found: list[int] = rows[_near(everyone.x_m[rows], everyone.y_m[rows], cut_off)].tolist()
    return found


def _near(x_m: NDArray[np.float64], y_m: NDArray[np.float64], cut_off: CutOff) -> Flags:
    """Return which places lie within `NEAR_M` of a length that is cut off."""
    near = np.zeros(len(x_m), dtype=bool)
    if len(x_m) and len(cut_off.line):
        points = np.asarray(shapely.points(x_m, y_m), dtype=object)
        at, _ = shapely.STRtree(cut_off.line).query(points, predicate="dwithin", distance=NEAR_M)
        near[at] = True
    return near
