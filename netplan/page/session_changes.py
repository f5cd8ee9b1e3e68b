"""Which network and rules a session was made with, and what has changed since."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from typing import Any, Final

from netplan.core.constants import MM_PER_M
from netplan.network.model import Network
from netplan.network.vocabulary import Material, ValveState
from netplan.page.page_orders import PageOrders
from netplan.page.session_model import NamedRecords, NetworkFingerprint, RulesFingerprint
from netplan.planfile.network_facts import network_facts
from netplan.planning.given_orders import orders_given
from netplan.rules import Rules
from netplan.rules.rule_differences import rule_differences

__all__ = ["changes_since", "network_fingerprint", "rules_fingerprint"]

MOST_SAID: Final = 60
"""Changes that are said one by one; the rest is counted (own) [-]."""


def network_fingerprint(network: Network, orders: PageOrders) -> NetworkFingerprint:
    """Return which network this is, with the records of what the orders name.

    Parameters
    ----------
    network : Network
    orders : PageOrders
    """
    pipes = network.pipes
    ids = {
        "mains": pipes.id.arrow.slice(0, pipes.n_mains),
        "customers": network.customers.id.arrow,
        "valves": network.valves.id.arrow,
    }
    return NetworkFingerprint(
        source=network.source,
        content_sha256=network.content_sha256,
        counts=network_facts(network).counts,
        ids_sha256={layer: _digest(sorted(column.to_pylist())) for layer, column in ids.items()},
        named=_named(network, orders),
    )


def rules_fingerprint(rules: Rules) -> RulesFingerprint:
    """Return which rules these are."""
    values = json.loads(json.dumps(rules.values()))
    return RulesFingerprint(sha256=_digest(values), values=values)


def _digest(value: Any) -> str:
    text = json.dumps(value, sort_keys=True, ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _named(network: Network, orders: PageOrders) -> NamedRecords:
    places = orders_given(force=orders.force, forbid=orders.forbid, keep_out=None, max_stops=None, keep_on=())
    given = [*places.force, *places.forbid]
    mains = {one.main_id for one in orders.work}
    mains |= {name for one in given if one.chainage_m is not None for name in (one.name, one.longer_name)}
    pipes, valves, customers = network.pipes, network.valves, network.customers
    found_mains = {name: pipes.id.find(name, 0, pipes.n_mains) for name in sorted(mains - {""})}
    found_valves = {one.name: valves.id.find(one.name) for one in given if one.chainage_m is None}
    found_customers = {name: customers.id.find(name) for name in (*orders.keep_on, *orders.own_supply)}
    return NamedRecords(
        mains={
            name: (
                round(float(pipes.length_m[row]), 3),
                round(float(pipes.od_m[row]) * MM_PER_M, 1),
                Material(int(pipes.material[row])).word,
            )
            for name, row in found_mains.items()
            if row >= 0
        },
        valves={
            name: ValveState(int(valves.state[row])).word for name, row in found_valves.items() if row >= 0
        },
        customers={name: customers.address[row] for name, row in found_customers.items() if row >= 0},
    )


def changes_since(
    network: NetworkFingerprint,
    rules: RulesFingerprint,
    network_now: NetworkFingerprint,
    rules_now: RulesFingerprint,
) -> tuple[str, ...]:
    """Return a line for each thing that is another one than when a session was saved; none for the same.

    Parameters
    ----------
    network, rules : fingerprints in the session
    network_now, rules_now : fingerprints of what is open, with the records that the session's orders name
    """
    lines: list[str] = []
    if network.content_sha256 != network_now.content_sha256:
        lines += [*_counts(network, network_now), *_records(network.named, network_now.named)]
        lines = lines or ["counts and what the orders name are the same; other records have changed"]
        lines.insert(0, "the network has changed since this session was saved")
    if rules.sha256 != rules_now.sha256:
        lines += [
            "the rules have changed since this session was saved",
            *rule_differences(rules.values, rules_now.values),
        ]
    more = len(lines) - MOST_SAID
    return tuple([*lines[:MOST_SAID], f"and {more} more"] if more > 0 else lines)


def _counts(was: NetworkFingerprint, now: NetworkFingerprint) -> Iterator[str]:
    for layer in sorted({*was.counts, *now.counts}):
        before, after = was.counts.get(layer, 0), now.counts.get(layer, 0)
        if before != after:
            yield f"{layer}: {after} instead of {before} ({after - before:+d})"
        elif was.ids_sha256.get(layer) != now.ids_sha256.get(layer):
            yield f"{layer}: as many as before, but not the same ids"


def _records(was: NamedRecords, now: NamedRecords) -> Iterator[str]:
    for name, (length_m, od_mm, material) in was.mains.items():
        if name not in now.mains:
            yield f"main {name}, which the orders name, is no longer there"
            continue
        length_now_m, od_now_mm, material_now = now.mains[name]
        if length_m != length_now_m:
            yield f"main {name} is {length_now_m:g} m long instead of {length_m:g} m: look at its chainages"
        if od_mm != od_now_mm:
            yield f"main {name} has {od_now_mm:g} mm instead of {od_mm:g} mm"
        if material != material_now:
            yield f"main {name} is of {material_now} instead of {material}"
    for name, state in was.valves.items():
        if name not in now.valves:
            yield f"valve {name}, which the orders name, is no longer there"
        elif state != now.valves[name]:
            yield f"valve {name} is {now.valves[name]} instead of {state}"
    for name, address in was.customers.items():
        if name not in now.customers:
            yield f"customer {name}, whom the orders name, is no longer there"
        elif address != now.customers[name]:
            yield f"customer {name} is at {now.customers[name]} instead of {address}"
