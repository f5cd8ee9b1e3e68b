"""Gas escaping at the pressures that the network holds beside the hole, in order of magnitude."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from netplan.core.constants import MM_PER_M, SECONDS_PER_HOUR, ZERO_CELSIUS_K
from netplan.emergency.escape_flow import DISCHARGE_LEAST, DISCHARGE_MOST, escape_range
from netplan.emergency.solved_network import HitNetwork
from netplan.emergency.solved_states import MOST_HITS
from netplan.planfile import emergency_answer as model
from netplan.rules import Rules

__all__ = ["solved_escape"]

MOST_NODES: Final = 200_000
"""Nodes of a network that is solved with every size of hole; in a larger one the pressure before the hit
stands for them, by which more escapes than does (own) [-]."""


def solved_escape(
    hit_network: HitNetwork, rules: Rules, broken_m3_per_s_std: Sequence[float | None]
) -> tuple[model.EscapeRange, ...]:
    """Return what escapes at each of the nearest hits, at the pressure solved beside the hole.

    Each size of hole is solved with both discharge coefficients, nothing shut. A hit without gas or without a
    solution is left out. The full bore reaches up to what leaves a main broken through, both ends open.

    Parameters
    ----------
    hit_network : HitNetwork
    rules : Rules
    broken_m3_per_s_std : sequence of float or None
        What leaves each of the nearest hits so, nothing shut [m³/s at 15 °C, 101.325 kPa]; None: unknown.

    Raises
    ------
    BoundaryAffectedError
        When it is felt beyond the subnetwork.
    """
    before = hit_network.solve((), ())
    rest_pa = hit_network.at_hits_pa_gauge(before)
    network = hit_network.context.request.network
    may_solve = hit_network.flow.node_count <= MOST_NODES
    found = []
    for place, hit in enumerate(hit_network.hits[:MOST_HITS]):
        if np.isnan(rest_pa[place]):
            continue
        pipe, bore_m = hit_network.pipe_here(hit.pipe), float(hit_network.bores_m[place])
        held_pa = {}
        sizes = (*(size for size in rules.emergency.holes_mm if size < bore_m * MM_PER_M), bore_m * MM_PER_M)
        for size_mm in sizes if may_solve else ():
            for discharge in (DISCHARGE_LEAST, DISCHARGE_MOST):
                beside_pa = hit_network.beside_hit_pa_gauge(
                    size_mm / MM_PER_M, discharge**-2.0, place, before
                )
                if beside_pa is not None:
                    held_pa[size_mm, discharge] = beside_pa
        ground_k = rules.gas.ground_temp_c + ZERO_CELSIUS_K
        row = escape_range(
            network.pipes.id[pipe],
            bore_m,
            rules.emergency.holes_mm,
            float(rest_pa[place]),
            hit_network.context.gas,
            ground_k,
            held_pa=held_pa,
            is_solved=True,
        )
        *smaller, whole = row.flows
        most_m3h = (broken_m3_per_s_std[place] or 0.0) * SECONDS_PER_HOUR
        whole = whole.model_copy(update={"most_m3h": round(max(most_m3h, whole.least_m3h), 1)})
        found.append(row.model_copy(update={"flows": (*smaller, whole)}))
    return tuple(found)
