"""Findings about the data that touch a plan."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from netplan.findings import Finding, Severity, in_order
from netplan.network.checks import check_network
from netplan.network.graph import fed_nodes
from netplan.network.model import Network
from netplan.network.section import Section
from netplan.plan import model

__all__ = ["findings_of", "known_findings"]

MOST_PIPES: Final = 100_000
"""Above this the checks of the whole network are left to ``gas-netplan check``: they would take seconds."""


def known_findings(network: Network, section: Section) -> tuple[Finding, ...]:
    """Return what reading, joining and, for a network of bearable size, the checks notice about it.

    That no station feeds the work section as recorded is told for a network of any size.
    """
    return (*_dead_work(network, section), *_of_network(network))


def _of_network(network: Network) -> tuple[Finding, ...]:
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


def _dead_work(network: Network, section: Section) -> list[Finding]:
    pieces = network.pieces
    fed = fed_nodes(network, injections=True)
    dead = []
    for pipe, low, high in zip(section.pipe.tolist(), section.from_m, section.to_m, strict=True):
        on = (pieces.pipe == pipe) & (pieces.to_m >= low) & (pieces.from_m <= high)
        if not (fed[pieces.from_node[on]] | fed[pieces.to_node[on]]).any():
            dead.append(pipe)
    return [
        Finding(
            "work-without-supply",
            "mains",
            network.pipes.id[pipe],
            Severity.WARNING,
            "no station feeds the work section as recorded, yet it may carry gas",
            "prove on site that it is dead, and look for the missing link or station in the records",
        )
        for pipe in sorted(set(dead))
    ]


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
