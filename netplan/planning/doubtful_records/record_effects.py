"""What an option would do if one doubtful record were wrong: connectivity walked again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Flags
from netplan.graph.connected_components import component_labels
from netplan.isolation import Cut
from netplan.network.model import Network
from netplan.network.topology import fed_nodes
from netplan.planfile import model
from netplan.planning.connectivity import CutConnectivity
from netplan.planning.doubtful_records.connectivity_state import (
    ConnectivityState,
    connectivity_state,
    parts_of,
)
from netplan.planning.doubtful_records.joints_and_valves import Closing, Doubt, Joining, doubts_near

__all__ = ["OptionInDoubt", "effects_if_wrong", "option_in_doubt"]


@dataclass(frozen=True, slots=True, eq=False)
class OptionInDoubt:
    """An option as its doubtful records are judged.

    Parameters
    ----------
    connectivity : ConnectivityState
        With its stops and feeds in.
    touched : bool array, shape (nodes,)
        Nodes in the zones and in what they cut off, kept by a feed or not.
    doubts : tuple of Doubt
    """

    connectivity: ConnectivityState
    touched: Flags
    doubts: tuple[Doubt, ...]


def option_in_doubt(
    network: Network,
    cut: Cut,
    reach: CutConnectivity,
    bypasses: Sequence[model.Bypass],
    opened: Sequence[model.OpenedValve],
) -> OptionInDoubt:
    """Return an option with the doubtful records near it.

    Parameters
    ----------
    network : Network
    cut : Cut
    reach : CutConnectivity
        What the cut leaves without gas, before any feed.
    bypasses, opened : sequences
        Feeds of the option.
    """
    rows = {network.pipes.id[row]: row for row in _mains_named(network, bypasses)}
    feeds = [
        ((rows[b.from_.main_id], b.from_.chainage_m), (rows[b.to.main_id], b.to.chainage_m)) for b in bypasses
    ]
    valves = [network.valves.id.find(valve.valve_id) for valve in opened]
    connectivity = connectivity_state(network, cut, feeds, valves)
    touched = reach.in_zone | (~reach.fed & fed_nodes(network, injections=True))
    return OptionInDoubt(connectivity, touched, tuple(doubts_near(connectivity, touched)))


def effects_if_wrong(option: OptionInDoubt) -> model.Trust:
    """Return which doubtful records near an option would change it, each taken to be wrong by itself."""
    doubts = [doubt for doubt in option.doubts if doubt.layer != "services"]
    found = [row for row in (_judged(option.connectivity, doubt) for doubt in doubts) if row is not None]
    found.sort(
        key=lambda r: (not r.gas_reaches_work, -len(r.customers_off), r.layer, r.feature_id, r.other_id)
    )
    return model.Trust(checked=len(doubts), would_change=tuple(found))


def _mains_named(network: Network, bypasses: Sequence[model.Bypass]) -> list[int]:
    names = {place.main_id for bypass in bypasses for place in (bypass.from_, bypass.to)}
    return [network.pipes.id.find(name, 0, network.pipes.n_mains) for name in sorted(names)]


def _judged(connectivity: ConnectivityState, doubt: Doubt) -> model.TrustRow | None:
    if isinstance(doubt, Joining):
        return _if_joined(connectivity, doubt)
    if isinstance(doubt, Closing):
        return _if_closed(connectivity, doubt)
    return None


def _if_joined(connectivity: ConnectivityState, doubt: Joining) -> model.TrustRow | None:
    one, other = connectivity.part[doubt.one], connectivity.part[doubt.other]
    if one == other or connectivity.fed[one] == connectivity.fed[other]:
        return None
    dark = int(other if connectivity.fed[one] else one)
    if (connectivity.part[connectivity.zone_places] == dark).any():
        return _row(connectivity, doubt, gas_reaches_work=True)
    fed = connectivity.fed.copy()
    fed[dark] = True
    before, after = connectivity.without_gas(), connectivity.without_gas(fed=fed)
    if not (before & ~after).any():
        return None
    return _row(connectivity, doubt, on=before & ~after)


def _if_closed(connectivity: ConnectivityState, doubt: Closing) -> model.TrustRow | None:
    network, pieces = connectivity.network, connectivity.network.pieces
    inside = connectivity.in_zone
    one, other = int(pieces.from_node[doubt.piece]), int(pieces.to_node[doubt.piece])
    if inside[one] and inside[other]:
        return (
            _row(connectivity, doubt, zone_parted=True)
            if _parts_zone(connectivity, doubt.piece, one, other)
            else None
        )
    if not connectivity.carries[doubt.piece] or connectivity.stays_joined(doubt.piece):
        return None
    carries = connectivity.carries.copy()
    carries[doubt.piece] = False
    part, fed = parts_of(network, carries, connectivity.links, len(connectivity.part))
    off = connectivity.without_gas(part, fed) & ~connectivity.without_gas()
    if not off.any():
        return None
    # Who would have no gas today either, were it closed, proves that it is open.
    today = network.pieces.is_open.copy()
    today[doubt.piece] = False
    off &= ~_dark(network, fed_nodes(network, today, injections=True))
    return _row(connectivity, doubt, off=off) if off.any() else None


def _parts_zone(connectivity: ConnectivityState, piece: int, one: int, other: int) -> bool:
    network = connectivity.network
    inside = {part.piece for zone in connectivity.cut.zones for part in zone.pieces}
    rows = np.array(
        sorted(inside - {stop.piece for stop in connectivity.cut.stops} - {piece}), dtype=np.int64
    )
    rows = rows[network.pieces.is_open[rows]]
    ends = np.concatenate([[one, other], network.pieces.from_node[rows], network.pieces.to_node[rows]])
    nodes, local = np.unique(ends, return_inverse=True)
    label, _ = component_labels(len(nodes), local[2 : 2 + len(rows)], local[2 + len(rows) :])
    return bool(label[local[0]] != label[local[1]])


def _dark(network: Network, fed: Flags) -> Flags:
    customers = network.customers
    owner = np.repeat(np.arange(len(customers)), np.diff(customers.attach_start))
    return np.bincount(owner, weights=~fed[customers.attach_node], minlength=len(customers)) > 0


def _row(
    connectivity: ConnectivityState,
    doubt: Doubt,
    *,
    gas_reaches_work: bool = False,
    zone_parted: bool = False,
    off: Flags | None = None,
    on: Flags | None = None,
) -> model.TrustRow:
    network = connectivity.network
    customers = network.customers
    gone = [] if off is None else np.flatnonzero(off).tolist()
    back = [] if on is None else np.flatnonzero(on).tolist()
    main = network.pipes.id[doubt.main]
    if gas_reaches_work:
        words = f"gas would reach the work: prove it, or stop main {main} at {doubt.chainage_m:.1f} m too"
    elif zone_parted:
        words = "the zone would be split there: vent and purge both sides"
    elif gone:
        words = f"{len(gone)} more customers would be without gas: prove it, or feed them too"
    else:
        words = f"{len(back)} customers counted as without gas would have it: meters there may still be live"
    return model.TrustRow(
        code=doubt.code,
        layer=doubt.layer,
        feature_id=doubt.feature_id,
        other_id=doubt.other_id,
        taken_as=doubt.taken_as,
        may_be=doubt.may_be,
        main_id=main,
        chainage_m=doubt.chainage_m,
        x=doubt.x_m,
        y=doubt.y_m,
        gas_reaches_work=gas_reaches_work,
        further_stop=gas_reaches_work,
        zone_parted=zone_parted,
        customers_off=tuple(customers.id[row] for row in gone),
        customers_on=tuple(customers.id[row] for row in back),
        meters_off=int(customers.meters[gone].sum()),
        what=words,
    )
