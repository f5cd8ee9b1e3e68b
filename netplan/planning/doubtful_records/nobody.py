"""Services that an option cuts off or keeps by a feed although no customer is recorded on them."""

from __future__ import annotations

import numpy as np

from netplan.network.checks.customers_and_addresses import services_without_customer
from netplan.planning.doubtful_records.record_effects import OptionInDoubt

__all__ = ["services_of_nobody"]


def services_of_nobody(option: OptionInDoubt) -> tuple[str, ...]:
    """Return the ids of such services, ascending: somebody may live there who is on no list."""
    network = option.connectivity.network
    pipes, pieces = network.pipes, network.pieces
    nobody = services_without_customer(network)
    if not nobody.any():
        return ()
    named = np.zeros(len(pipes), dtype=bool)
    named[pieces.pipe[option.touched[pieces.from_node] | option.touched[pieces.to_node]]] = True
    rows = pipes.n_mains + np.flatnonzero(nobody & named[pipes.n_mains :])
    return tuple(sorted({pipes.id[int(row)] for row in rows}))
