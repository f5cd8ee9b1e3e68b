"""Findings about the data that touch a plan."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from netplan.findings import Finding, Severity, in_order
from netplan.network.checks import check_network
from netplan.network.model import Network
from netplan.plan import model

__all__ = ["findings_of", "known_findings"]

MOST_PIPES: Final = 100_000
"""Above this the checks of the whole network are left to ``gas-netplan check``: they would take seconds."""


def known_findings(network: Network) -> tuple[Finding, ...]:
    """Return what reading, joining and, for a network of bearable size, the checks notice about it."""
    if len(network.pipes) <= MOST_PIPES:
        return check_network(network)
    words = f"the network has over {MOST_PIPES:,} pipes: only what reading it noticed is listed here"
    left = Finding("checks-left", "", "", Severity.NOTE, words, "run gas-netplan check for all findings")
    return (*network.findings, left)


def findings_of(found: Iterable[Finding], options: Iterable[model.Option]) -> tuple[model.FindingRow, ...]:
    """Return the findings about what the options stop, empty, feed through or turn off.

    Findings about a whole layer always count; those about other features are left to ``gas-netplan check``.
    """
    touched = _touched(options)
    return tuple(
        model.FindingRow(
            code=f.code,
            layer=f.layer,
            feature_id=f.feature_id,
            severity=f.severity.value,
            what=f.what,
            mend=f.mend,
        )
        for f in in_order(found)
        if not f.feature_id or f.feature_id in touched.get(f.layer, ())
    )


def _touched(options: Iterable[model.Option]) -> dict[str, set[str]]:
    touched: dict[str, set[str]] = {"mains": set(), "services": set(), "valves": set(), "customers": set()}
    for option in options:
        for zone in option.zones:
            for part in zone.pipes:
                touched[part.layer].add(part.pipe_id)
        for stop in option.stops:
            touched["mains"].add(stop.main_id)
            touched["valves"].update({stop.valve_id} if stop.valve_id else ())
        for bypass in option.bypasses:
            touched["mains"].update((bypass.from_.main_id, bypass.to.main_id))
        touched["valves"].update(valve.valve_id for valve in option.opened_valves)
        touched["customers"].update(customer.id for customer in option.customers)
        touched["customers"].update(option.pressures.weak_before)
        for row in option.trust.would_change:
            touched.setdefault(row.layer, set()).add(row.feature_id)
    return touched
