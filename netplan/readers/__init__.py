"""Reading networks from files, and writing layers to them.

`read_network` is the usual door; `read_layers` gives the layers untouched; `open_source` opens what they read
from; `write_layers` makes a network file or folder from tables.
"""

from netplan.readers.layers import read_layers
from netplan.readers.mapping import Mapping, read_mapping
from netplan.readers.network import read_network
from netplan.readers.sources.opening import open_source
from netplan.readers.sources.polygons import read_polygons
from netplan.readers.sources.source import LayerSource
from netplan.readers.write import write_layers

__all__ = [
    "LayerSource",
    "Mapping",
    "open_source",
    "read_layers",
    "read_mapping",
    "read_network",
    "read_polygons",
    "write_layers",
]
