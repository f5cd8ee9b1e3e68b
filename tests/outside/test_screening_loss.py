"""Who is lost when a main is out at its ends: against networkx, main by main.

Schutterwald (source: see tests/support/schutterwald.py) is walked on the data as stored, without our joining. The
sum of 220,115 customers was computed on the same data by another program of this project's founders.
"""

from __future__ import annotations

from pathlib import Path

import networkx as nx
import numpy as np
import pytest

from netplan.network.model import Network
from netplan.readers import read_network, write_layers
from netplan.screening import lost_at_ends
from netplan.screening.link_candidates import best_links
from tests.compared import compared
from tests.support.schutterwald import MAINS, layers, stored

TOWN = Path(__file__).parents[2] / "sample_network" / "town.gpkg"


@pytest.fixture(scope="module")
def schutterwald(tmp_path_factory: pytest.TempPathFactory) -> Network:
    folder = tmp_path_factory.mktemp("town") / "network"
    write_layers(layers(), folder)
    return read_network(folder)


def test_every_main_of_schutterwald_loses_what_networkx_says(schutterwald: Network) -> None:
    net = stored()
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(net.junction.index.tolist())
    pairs = list(zip(net.pipe.from_junction.tolist(), net.pipe.to_junction.tolist(), strict=True))
    assert len({frozenset(pair) for pair in pairs}) == len(pairs)
    graph.add_edges_from(pairs)
    source = int(net.ext_grid.junction.iloc[0])
    sinks = net.sink.junction.tolist()
    expected = {}
    for row, kind in zip(net.pipe.index.tolist(), net.pipe["type"].tolist(), strict=True):
        if kind == "pipe":
            ends = (int(net.pipe.from_junction[row]), int(net.pipe.to_junction[row]))
            graph.remove_edge(*ends)
            fed = nx.node_connected_component(graph, source)
            expected[f"M{row}"] = sum(junction not in fed for junction in sinks)
            graph.add_edge(*ends)
    loss = lost_at_ends(schutterwald)
    ids = schutterwald.pipes.id
    compared(
        "Schutterwald: customers lost with each main out",
        loss.customers[:MAINS],
        [expected[ids[main]] for main in range(MAINS)],
        source="networkx 3.6, connected components of the data as stored",
        how="library",
    )
    assert loss.customers.sum() == 220_115
    assert loss.customers.max() == 1_488
    assert (loss.customers == 0).sum() == 24


def _by_networkx(network: Network, main: int) -> tuple[int, int, int]:
    """Return customers, meters and priority customers lost, whole network and main by main."""
    pieces, customers = network.pieces, network.customers
    supplies = {int(n) for n in (*network.stations.node, *network.injections.node) if n >= 0}

    def fed(without: int) -> set[int]:
        graph: nx.Graph[int] = nx.Graph()
        graph.add_nodes_from(range(len(network.nodes)))
        keep = np.flatnonzero(pieces.is_open & (pieces.pipe != without))
        graph.add_edges_from(zip(pieces.from_node[keep].tolist(), pieces.to_node[keep].tolist(), strict=True))
        return {node for part in nx.connected_components(graph) if part & supplies for node in part}

    before, after = fed(-1), fed(main)
    lost = []
    for row in range(len(customers)):
        at = customers.attach_node[customers.attach_start[row] : customers.attach_start[row + 1]].tolist()
        if any(node in before for node in at) and not any(node in after for node in at):
            lost.append(row)
    meters = int(customers.meters[lost].sum()) if lost else 0
    return len(lost), meters, sum(bool(customers.priority[row]) for row in lost)


def test_every_main_of_the_sample_loses_what_networkx_says() -> None:
    network = read_network(TOWN)
    loss = lost_at_ends(network)
    assert len(loss.customers) == network.pipes.n_mains == 194
    for main in range(network.pipes.n_mains):
        found = (int(loss.customers[main]), int(loss.meters[main]), int(loss.priority[main]))
        assert found == _by_networkx(network, main), network.pipes.id[main]


def test_a_new_link_saves_what_laying_it_saves(schutterwald: Network) -> None:
    from dataclasses import replace

    loss = lost_at_ends(schutterwald)
    links = best_links(schutterwald, loss.tree, 60.0)
    assert len(links) == 10
    assert [link.saved for link in links] == sorted((link.saved for link in links), reverse=True)
    nodes, pieces = schutterwald.nodes, schutterwald.pieces
    for link in links[:4]:
        ends = [
            int(np.argmin(np.hypot(nodes.x_m - x, nodes.y_m - y)))
            for x, y in ((link.from_x_m, link.from_y_m), (link.to_x_m, link.to_y_m))
        ]
        # Laid as a service, so that the link itself is no main to be taken out.
        more = replace(
            pieces,
            pipe=np.append(pieces.pipe, len(schutterwald.pipes) - 1).astype(np.int32),
            from_m=np.append(pieces.from_m, 0.0),
            to_m=np.append(pieces.to_m, link.gap_m),
            from_node=np.append(pieces.from_node, ends[0]).astype(np.int32),
            to_node=np.append(pieces.to_node, ends[1]).astype(np.int32),
            valve=np.append(pieces.valve, -1).astype(np.int32),
            is_open=np.append(pieces.is_open, True),
        )
        after = lost_at_ends(replace(schutterwald, pieces=more))
        assert int(loss.customers.sum() - after.customers.sum()) == link.saved
        assert int((loss.customers > after.customers).sum()) == link.mains
