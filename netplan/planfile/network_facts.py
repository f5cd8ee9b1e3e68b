"""Which network an answer was made from, by which versions, and when."""

from __future__ import annotations

import platform
from datetime import UTC, datetime
from functools import cache
from importlib.metadata import version
from typing import Final

from netplan import __version__
from netplan.network.model import Network
from netplan.planfile.model.plan_inputs import NetworkFacts, Provenance

__all__ = ["network_facts", "provenance_of"]

LIBRARIES: Final = ("geopandas", "numpy", "pandas", "pyproj", "scipy", "shapely")


def network_facts(network: Network) -> NetworkFacts:
    """Return which network an answer is for."""
    return NetworkFacts(
        content_sha256=network.content_sha256,
        counts={
            "mains": network.pipes.n_mains,
            "services": len(network.pipes) - network.pipes.n_mains,
            "customers": len(network.customers),
            "regulators": len(network.stations),
            "valves": len(network.valves),
            "fittings": len(network.fittings),
            "pieces": len(network.pieces),
            "nodes": len(network.nodes),
        },
        crs=network.crs,
        crs_note=network.crs_note,
        length_scale=round(network.scale, 9),
    )


def provenance_of(network: Network) -> Provenance:
    """Return where an answer comes from, as of now."""
    versions = {"gas-netplan": __version__, "python": platform.python_version()}
    versions |= _libraries()
    return Provenance(
        source=network.source, versions=versions, created=datetime.now(UTC).isoformat(timespec="seconds")
    )


@cache
def _libraries() -> dict[str, str]:
    return {name: version(name) for name in LIBRARIES}
