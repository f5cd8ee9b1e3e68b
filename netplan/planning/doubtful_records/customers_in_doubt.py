"""Who would lose gas during the work if one doubtful record near it were otherwise."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from netplan.core.arrays import Flags
from netplan.network.topology import components, fed_nodes
from netplan.planfile import model
from netplan.planning.context import PlanningContext
from netplan.planning.doubtful_records.attachments import guessed, same_premises_as, without_station
from netplan.planning.doubtful_records.connectivity_state import ConnectivityState, parts_of
from netplan.planning.doubtful_records.cut_off_pipes import cut_off_lines
from netplan.planning.doubtful_records.joints_and_valves import (
    Closing,
    Doubt,
    Joining,
    Parting,
    places_touched,
    taken_joined,
)
from netplan.planning.doubtful_records.record_effects import OptionInDoubt

__all__ = ["in_doubt_of"]

Key = tuple[str, str, str]


def in_doubt_of(
    context: PlanningContext, option: OptionInDoubt, off: Collection[str]
) -> tuple[model.InDoubt, ...]:
    """Return the customers in doubt, by id, layer and record; each pair of customer and record once.

    Each doubtful record is taken the other way by itself, with all stops and feeds in: a valve of unknown
    state is closed, a closed one open, a joint that nearly meets is there, one that is there only because a
    service is drawn so is not, a customer that is attached by what lies nearest hangs on another pipe within
    reach. Whoever then has an end without gas that has it as recorded, or would have it before the work, is
    in doubt. So is whoever the records leave without any station near the work. Connectivity alone is walked;
    pressures are not solved again.

    Parameters
    ----------
    context : PlanningContext
    option : OptionInDoubt
    off : collection of str
        Customers that are off by the option: they are on its own list, and on this one never.
    """
    found: dict[Key, tuple[int, list[str]]] = {}
    everyone = context.scope.all_customers

    def add(customer: int, layer: str, record_id: str, why: str) -> None:
        name = everyone.id[customer]
        if name not in off:
            said = found.setdefault((name, layer, record_id), (customer, []))[1]
            if why not in said:
                said.append(why)

    row_of = context.scope.customer_rows
    around = places_touched(option.connectivity, option.touched)
    for doubt in (*option.doubts, *taken_joined(option.connectivity.network, around)):
        for row, why in _if_otherwise(option.connectivity, doubt):
            add(int(row_of[row]), doubt.layer, doubt.feature_id, why)
    places = cut_off_lines(context, option)
    for customer, why in (
        *guessed(context, option, places),
        *without_station(context, option, places),
        *same_premises_as(context, off),
    ):
        add(customer, "customers", everyone.id[customer], why)
    return tuple(
        _row(context, customer, key, "; ".join(said)) for key, (customer, said) in sorted(found.items())
    )


def _if_otherwise(connectivity: ConnectivityState, doubt: Doubt) -> list[tuple[int, str]]:
    if isinstance(doubt, Closing):
        return _if_closed(connectivity, doubt)
    if isinstance(doubt, Parting):
        return _if_parted(connectivity, doubt)
    if isinstance(doubt, Joining):
        return _if_joined(connectivity, doubt)
    return []


def _if_closed(connectivity: ConnectivityState, doubt: Closing) -> list[tuple[int, str]]:
    gone, dark_today = _gone_without(connectivity, (doubt.piece,), ())
    taken = f"the state of valve {doubt.feature_id} is not recorded and taken as open"
    no_way = _owners(connectivity, dark_today)
    return [
        (
            customer,
            f"{taken}; if it is closed, no recorded way feeds this customer, who most likely has gas by one "
            "that is not recorded"
            if no_way[customer]
            else f"{taken}; if it is closed, this customer depends on what the work cuts off",
        )
        for customer in np.flatnonzero(_owners(connectivity, gone)).tolist()
    ]


def _if_parted(connectivity: ConnectivityState, doubt: Parting) -> list[tuple[int, str]]:
    """Return who hangs on what is cut off without the joint.

    Whom nothing else feeds is left out: a service that branches off another is the usual case. Who is
    attached at the joint may hang on either side of it.
    """
    gone, dark_today = _gone_without(connectivity, doubt.cuts, doubt.links)
    gone &= ~dark_today
    pieces, cuts = connectivity.network.pieces, list(doubt.cuts)
    gone[doubt.at] |= bool(gone[pieces.from_node[cuts]].any() or gone[pieces.to_node[cuts]].any())
    why = (
        f"service {doubt.feature_id} {doubt.taken_as}; if there is no joint, this customer depends on what "
        f"the work cuts off"
    )
    return [(customer, why) for customer in np.flatnonzero(_owners(connectivity, gone)).tolist()]


def _gone_without(
    connectivity: ConnectivityState, cuts: tuple[int, ...], links: tuple[tuple[int, int], ...]
) -> tuple[Flags, Flags]:
    """Return the nodes that lose gas by the work if pieces carry none, and those without gas before it."""
    network, rows = connectivity.network, list(cuts)
    count = len(network.nodes)
    nobody = np.zeros(count, dtype=bool)
    if not connectivity.carries[rows].all() or (len(rows) == 1 and connectivity.stays_joined(rows[0])):
        return nobody, nobody
    carries = connectivity.carries.copy()
    carries[rows] = False
    more = np.array(links, dtype=np.int64).reshape(-1, 2)
    part, fed = parts_of(network, carries, np.concatenate([connectivity.links, more]), len(connectivity.part))
    gone = (connectivity.fed[connectivity.part] & ~fed[part])[:count] & ~connectivity.in_zone
    if not gone.any():
        return gone, nobody
    today = network.pieces.is_open.copy()
    today[rows] = False
    part, fed = parts_of(network, today, more, count)
    return gone, ~fed[part]


def _if_joined(connectivity: ConnectivityState, doubt: Joining) -> list[tuple[int, str]]:
    """Return who would have gas today by the joint alone, and lose it with the work."""
    network = connectivity.network
    label = components(network)
    fed = fed_nodes(network, injections=True)
    ends = zip((doubt.one, doubt.other), doubt.nodes, strict=True)
    (dead_place, dead), (other_place, other) = sorted(ends, key=lambda end: bool(fed[end[1]]))
    if fed[dead] or not fed[other] or connectivity.fed[connectivity.part[dead_place]]:
        return []
    in_zone = other_place >= len(network.nodes) or connectivity.in_zone[other_place]
    hang_on_it = label == label[dead]
    if connectivity.fed[connectivity.part[other_place]] and not in_zone:
        # The joint goes on giving gas: only what the stops part from it within the dead part loses it.
        part = connectivity.part[: len(hang_on_it)]
        hang_on_it &= (part != connectivity.part[dead_place]) & ~connectivity.fed[part]
    lost = np.flatnonzero(_owners(connectivity, hang_on_it)).tolist()
    if doubt.code == "valve-closed":
        why = (
            f"valve {doubt.feature_id} is recorded as closed; if it is open or lets by, this customer "
            f"depends on what the work cuts off"
        )
    else:
        name = "main" if doubt.layer == "mains" else "service"
        why = (
            f"{name} {doubt.feature_id} {doubt.taken_as.replace(' it', f' main {doubt.other_id}', 1)}; if it "
            "is joined, this customer depends on what the work cuts off"
        )
    return [(customer, why) for customer in lost]


def _owners(connectivity: ConnectivityState, nodes: Flags) -> Flags:
    """Return the customers with an attachment at one of some nodes."""
    customers = connectivity.network.customers
    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    return np.bincount(owner, weights=nodes[customers.attach_node], minlength=len(customers)) > 0


def _row(context: PlanningContext, customer: int, key: Key, why: str) -> model.InDoubt:
    everyone = context.scope.all_customers
    x, y = float(everyone.x_m[customer]), float(everyone.y_m[customer])
    if not np.isfinite([x, y]).all():
        # Without a place of its own it is drawn where it is attached.
        network, row = context.request.network, int(np.searchsorted(context.scope.customer_rows, customer))
        node = network.customers.attach_node[network.customers.attach_start[row]]
        x, y = float(network.nodes.x_m[node]), float(network.nodes.y_m[node])
    return model.InDoubt(
        id=key[0],
        address=everyone.address[customer],
        priority=everyone.priority[customer],
        layer=key[1],
        record_id=key[2],
        why=why,
        meters=int(everyone.meters[customer]),
        x=x,
        y=y,
    )
