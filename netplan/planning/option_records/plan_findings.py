"""Findings about the data that touch a plan."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

from netplan.core.errors import shown
from netplan.core.findings import Finding, Severity, in_order
from netplan.network.checks import check_network
from netplan.network.finding_log import listed
from netplan.network.model import Network
from netplan.network.topology import fed_nodes
from netplan.network.work_section import WorkSection
from netplan.planfile import model

__all__ = ["findings_of", "known_findings", "noticed"]

MOST_PIPES: Final = 100_000
"""Above this the checks of the whole network are left to ``gas-netplan check``: they would take seconds."""


def known_findings(network: Network, section: WorkSection) -> tuple[Finding, ...]:
    """Return what reading, joining and, for a network of bearable size, the checks notice about it.

    That no station feeds the work section as recorded is told for a network of any size.
    """
    return (*_dead_work(network, section), *_of_network(network))


def _of_network(network: Network) -> tuple[Finding, ...]:
    if len(network.pipes) <= MOST_PIPES:
        return check_network(network)
    words = f"the network has over {MOST_PIPES:,} pipes: only findings made while reading it are listed here"
    left = Finding("checks-left", "", "", Severity.NOTE, words, "run gas-netplan check for all findings")
    return (*network.findings, left)


def noticed(network: Network, section: WorkSection) -> tuple[str, ...]:
    """Return the warnings about the data as lines, for a section that there is no plan for."""
    rows = findings_of(known_findings(network, section), ())
    return tuple(
        f"{row.layer or 'network'} {row.feature_id}".strip() + f": {row.what}; {row.mend}"
        for row in rows
        if row.severity != Severity.NOTE
    )


def findings_of(found: Iterable[Finding], options: Iterable[model.Option]) -> tuple[model.FindingRow, ...]:
    """Return the findings about what the options stop, empty, feed through or turn off.

    Findings about a whole layer and about stations always count. Warnings of one kind about other features
    are put together: who is on which list may rest on them. Notes about those are left to
    ``gas-netplan check``.
    """
    touched = _touched(options)
    here, elsewhere = [], []
    for finding in in_order(found):
        is_here = (
            not finding.feature_id
            or finding.layer == "regulators"
            or finding.feature_id in touched.get(finding.layer, ())
        )
        if is_here:
            here.append(finding)
        elif finding.severity is not Severity.NOTE:
            elsewhere.append(finding)
    return tuple(
        model.FindingRow(
            code=f.code,
            layer=f.layer,
            feature_id=f.feature_id,
            severity=f.severity.value,
            what=f.what,
            mend=f.mend,
        )
        for f in in_order((*here, *_together(elsewhere)))
    )


def _together(elsewhere: Sequence[Finding]) -> list[Finding]:
    """Return one finding for each kind of finding about features that the options do not touch."""
    kinds: dict[tuple[str, str], list[Finding]] = {}
    for finding in elsewhere:
        kinds.setdefault((finding.layer, finding.code), []).append(finding)
    result = []
    for some in kinds.values():
        first, count = some[0], len(some)
        named = listed([shown(finding.feature_id) for finding in some])
        what = (
            f"away from the work: {named}: {first.what}"
            if count == 1
            else f"away from the work, {count:,} {first.layer} ({named}), the first: {first.what}"
        )
        result.append(replace(first, feature_id="", what=what, x_m=None, y_m=None))
    return result


def _dead_work(network: Network, section: WorkSection) -> list[Finding]:
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
