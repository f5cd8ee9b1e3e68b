"""Looking for faults in a joined network: one check a fault, all findings at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from netplan.core.findings import Finding, in_order
from netplan.network.checks import addresses, customers, doubles, gaps, pipes, places, pressure, supply
from netplan.network.concurrency import no_collecting
from netplan.network.finding_log import Notes
from netplan.network.model import Network

__all__ = ["CHECKS", "check_network"]

CHECKS: Final[tuple[Callable[[Network, Notes], None], ...]] = (
    pipes.check_self_crossing,
    doubles.check_double_pipes,
    doubles.check_double_points,
    doubles.check_double_customers,
    pipes.check_size_jumps,
    pipes.check_years_and_depths,
    gaps.check_near_misses,
    gaps.check_crossings,
    supply.check_parts_without_station,
    supply.check_splitting_valves,
    supply.check_valve_operability,
    pressure.check_pressure_above_mop,
    pressure.check_station_pressures,
    pressure.check_sensing_points,
    customers.check_dead_customers,
    customers.check_services_without_customer,
    customers.check_demand,
    customers.check_far_from_service,
    addresses.check_addresses,
    addresses.check_strangers,
    places.check_far_off,
    places.check_heights,
)
"""Every check, in the order they run."""


def check_network(network: Network) -> tuple[Finding, ...]:
    """Return everything that reading, joining and the checks notice about a network, worst first."""
    notes = Notes()
    notes.extend(network.findings)
    with no_collecting():
        for check in CHECKS:
            check(network, notes)
    return in_order(notes.sorted())
