"""Tables of an emergency kept beside the kept network: what is the same for every place that may be hit."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import zipfile
from collections.abc import Iterator
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any, Final

import numpy as np

from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.ring_graph import RingGraph
from netplan.emergency.stop_seconds import StopSeconds
from netplan.network.model import Network
from netplan.network.topology import Adjacency, adjacency, take_kept
from netplan.rules import Rules

__all__ = ["keep_tables", "tables_for"]

_PROGRAM: Final = ("core", "emergency", "graph", "isolation", "network", "readers", "rules")
"""Packages whose code decides what is kept."""
_LEAST_NODES: Final = 20_000
"""Nodes from which keeping is worth it: below, working the tables out anew takes no time (own) [-]."""
_SECONDS: Final = ("by_valve", "quickest", "method")
_GRAPHS: Final = ("by_valves", "by_any_method")
_NEIGHBOURS: Final = ("near_start", "near_node", "near_piece")
_OF_GRAPH: Final = ("group", "start", "piece", "other", "meters", "supplies")


def tables_for(network: Network, rules: Rules, folder: Path | None) -> EmergencyTables:
    """Return the tables of a network: those that were kept for it and for these rules, where there are any.

    Parameters
    ----------
    network : Network
    rules : Rules
    folder : Path or None
        Where networks are kept; None for nowhere.
    """
    tables = EmergencyTables(network, rules)
    if folder is None or len(network.nodes) < _LEAST_NODES:
        return tables
    try:
        path = _path(network, rules, folder)
        with path.open("rb") as file, np.load(file, allow_pickle=False) as held:
            arrays = {name: held[name] for name in held.files}
        known = _known(arrays, len(network.nodes), len(network.pieces))
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return tables
    take_kept(network, arrays["part"], Adjacency(*(arrays[name] for name in _NEIGHBOURS)))
    vars(tables).update(known)
    return tables


def _known(arrays: dict[str, Any], nodes: int, pieces: int) -> dict[str, Any]:
    """Return the tables by name.

    Raises
    ------
    ValueError
        When they are those of another network.
    KeyError
        When one is missing.
    """
    seconds = StopSeconds(*(arrays[name] for name in _SECONDS))
    graphs = {}
    for name, own in zip(_GRAPHS, (seconds.by_valve, seconds.quickest), strict=True):
        of_graph = {one: arrays[f"{name}_{one}"] for one in _OF_GRAPH}
        if len(of_graph["group"]) != nodes:
            raise ValueError("another network")
        times = frozenset(arrays[f"{name}_times"].tolist())
        graphs[name] = RingGraph(seconds=own, times=times, **of_graph)
    known_nodes = {len(arrays["part"]), len(arrays[_NEIGHBOURS[0]]) - 1}
    if known_nodes != {nodes} or len(seconds.quickest) != pieces:
        raise ValueError("another network")
    return {"part": arrays["part"], "seconds": seconds, **graphs}


def keep_tables(tables: EmergencyTables, folder: Path | None) -> None:
    """Keep the tables of a large network for the next emergency in it, unless they are kept already.

    Where that cannot be done nothing is said: the answer is there, and the next one only takes longer.
    """
    network = tables.network
    if folder is None or len(network.nodes) < _LEAST_NODES:
        return
    path = _path(network, tables.rules, folder)
    if path.exists():
        return
    near = adjacency(network)
    arrays: dict[str, Any] = dict(zip(_NEIGHBOURS, (near.start, near.neighbour, near.piece), strict=True))
    arrays |= {"part": tables.part, **{name: _array(tables.seconds, name) for name in _SECONDS}}
    for name, graph in zip(_GRAPHS, (tables.by_valves, tables.by_any_method), strict=True):
        arrays |= {f"{name}_{one}": _array(graph, one) for one in _OF_GRAPH}
        arrays[f"{name}_times"] = np.array(sorted(graph.times), dtype=np.int64)
    part = path.with_name(f"{path.stem}.{os.getpid()}.part.npz")
    with contextlib.suppress(OSError):
        try:
            np.savez(part, **arrays)
            part.chmod(0o600)
            part.replace(path)
        finally:
            part.unlink(missing_ok=True)


def _array(row: StopSeconds | RingGraph, name: str) -> Any:
    """Return an array of a table by its name."""
    return getattr(row, name)


def _path(network: Network, rules: Rules, folder: Path) -> Path:
    digest = hashlib.sha256()
    for text in (network.content_sha256, json.dumps(rules.values(), sort_keys=True), _program()):
        digest.update(f"{len(text)}:{text}".encode())
    return folder / f"emergency-{digest.hexdigest()}.npz"


@cache
def _program() -> str:
    digest = hashlib.sha256(np.__version__.encode())
    for package in _PROGRAM:
        for file in _files(resources.files("netplan") / package):
            digest.update(file.read_bytes())
    return digest.hexdigest()


def _files(folder: Traversable) -> Iterator[Traversable]:
    for entry in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if entry.is_dir():
            yield from _files(entry)
        elif entry.name.endswith((".py", ".csv", ".toml")):
            yield entry
