"""Looking for faults in a joined network: one check a fault, all findings at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from netplan.core.findings import Finding, in_order
from netplan.network.checks import (
    customers_and_addresses,
    duplicates,
    implausible_values,
    missing_joints,
    supply_and_pressure,
)
from netplan.network.concurrency import without_garbage_collection
from netplan.network.finding_log import FindingLog
from netplan.network.model import Network

__all__ = ["CHECKS", "check_network"]

CHECKS: Final[tuple[Callable[[Network, FindingLog], None], ...]] = (
    implausible_values.check_self_crossing,
    duplicates.check_duplicate_pipes,
    duplicates.check_duplicate_points,
    duplicates.check_duplicate_customers,
    implausible_values.check_size_jumps,
    implausible_values.check_years_and_depths,
    missing_joints.check_near_misses,
    missing_joints.check_crossings,
    supply_and_pressure.check_parts_without_station,
    supply_and_pressure.check_splitting_valves,
    supply_and_pressure.check_valve_operability,
    supply_and_pressure.check_pressure_above_mop,
    supply_and_pressure.check_station_pressures,
    supply_and_pressure.check_inlet_valves,
    supply_and_pressure.check_sensing_points,
    customers_and_addresses.check_dead_customers,
    customers_and_addresses.check_services_without_customer,
    customers_and_addresses.check_demand,
    customers_and_addresses.check_far_from_service,
    customers_and_addresses.check_addresses,
    customers_and_addresses.check_address_outliers,
    implausible_values.check_far_off,
    implausible_values.check_heights,
)
"""Every check, in the order they run."""


def check_network(network: Network) -> tuple[Finding, ...]:
    """Return everything that reading, joining and the checks notice about a network, worst first."""
    notes = FindingLog()
    notes.extend(network.findings)
    with without_garbage_collection():
        for check in CHECKS:
            check(network, notes)
    return in_order(notes.sorted())
