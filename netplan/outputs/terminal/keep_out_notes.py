"""What is said of keep-out areas that bar no stop, because nothing of the network lies in them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from netplan.network.areas_off_network import areas_off_network
from netplan.network.coordinate_order import area_order_hint
from netplan.network.model import Network
from netplan.outputs.number_format import Figures

__all__ = ["keep_out_notes"]


def keep_out_notes(
    network: Network, areas: Sequence[Any], path: Path | None, units: Figures
) -> Iterator[str]:
    """Yield a warning for each area that touches no main and no service.

    Parameters
    ----------
    network : Network
    areas : sequence of shapely geometry
        In the working CRS, in the order of the file.
    path : Path or None
        The file that they come from.
    units : Figures
        How the distance to the nearest main is written.
    """
    for area in areas_off_network(network, areas):
        cure = area_order_hint(network, areas[area.place - 1]) or ": check where it is drawn"
        which = f" polygon {area.place}" if len(areas) > 1 else ""
        yield (
            f"Warning: --keep-out {path}:{which} touches no main and no service, so it bars no stop; the "
            f"nearest main, {area.main_id}, is {units.length(area.distance_m)} away{cure}"
        )
