"""A street grid with valves: what an emergency in a city is answered on.

    python -m tests.benchmarks.emergency_city 1000000 /tmp/city.gpkg

writes a GeoPackage with about that many pipes.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Final

import geopandas
import numpy as np
import shapely

from netplan.readers import write_layers
from tests.benchmarks.layer_grids import CRS, Layers, grid_layers

__all__ = ["VALVED", "city_layers"]

VALVED: Final = 0.5
"""Share of the mains with a valve of their own [-]."""
WORKING: Final = 0.9
"""Share of these that are recorded as operable and open [-]."""
AT_SHARE: Final = 0.07
"""Where along its main a valve stands: short of the first service [-]."""


def city_layers(n_pipes: int, seed: int = 1) -> Layers:
    """Return the layers of `grid_layers` with a valve on half of the mains, a tenth of them of no use."""
    layers = grid_layers(n_pipes, seed)
    rng = np.random.default_rng(seed + 1)
    lines = layers["mains"].geometry.to_numpy()
    lines = lines[rng.random(len(lines)) < VALVED]
    works = rng.random(len(lines)) < WORKING
    layers["valves"] = geopandas.GeoDataFrame(
        {
            "id": np.char.add("V", np.char.zfill(np.arange(len(lines)).astype(str), 7)),
            "state": "open",
            "operable": np.where(works, "yes", "unknown"),
        },
        geometry=shapely.line_interpolate_point(lines, AT_SHARE, normalized=True),
        crs=CRS,
    )
    return layers


if __name__ == "__main__":
    write_layers(city_layers(int(sys.argv[1])), Path(sys.argv[2]))
