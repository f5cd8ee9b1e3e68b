"""The sample town as three invented companies would export it, each in its own words.

``python -m tests.company_exports FOLDER`` writes all three; the mapping of each lies under tests/mappings.

- ``german``: a folder of Shapefiles, one table of pipes for mains and services, German words, sizes as text,
  decimal commas, bar and centimetres.
- ``american``: a GeoPackage in US survey feet, inches, psi, inches of water column, therms, BTU/h.
- ``coded``: GeoParquet and GeoJSON beside each other, code numbers for every word, ids with colons and prefixes,
  rows in another order.

The first and the last lose nothing. The second is rounded as such records are: inches and feet to four decimals.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import geopandas as gpd

from netplan.cli.sample import sample_network
from tests.company_exports.american import american
from tests.company_exports.coded import CODES, coded
from tests.company_exports.german import german

__all__ = ["CODES", "EXPORTS", "MAPPINGS", "write_export"]

EXPORTS: Final = ("german", "american", "coded")
MAPPINGS: Final = Path(__file__).parents[1] / "mappings"
_LAYERS: Final = (
    "mains",
    "services",
    "customers",
    "regulators",
    "sensing_points",
    "valves",
    "fittings",
    "injections",
    "keep_out",
    "streets",
    "buildings",
    "water",
    "rail",
)


def write_export(name: str, folder: Path) -> Path:
    """Write one export into a folder that does not exist yet; return what `gas-netplan` is to be given."""
    layers = {layer: gpd.read_file(sample_network(), layer=layer) for layer in _LAYERS}
    folder.mkdir(parents=True)
    writers = {"german": german, "american": american, "coded": coded}
    return writers[name](layers, folder)
