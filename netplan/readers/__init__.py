"""Reading networks from files, and writing layers to them.

`read_network` is the usual way in; `read_layers` gives the layers untouched; `open_source` opens what they
read from; `write_layers` makes a network file or folder from tables.

`sources` reads files and databases, `mapping` turns a company's layers, columns, words and units into those
of the contract, and `network_cache` keeps joined networks on disk.
"""

from typing import TYPE_CHECKING

from netplan.core.names_on_first_use import names_on_first_use
from netplan.readers.layer_writing import write_layers
from netplan.readers.source_to_network import read_layers, read_network
from netplan.readers.sources.areas import read_polygons
from netplan.readers.sources.layer_source import LayerSource
from netplan.readers.sources.opening import open_source

if TYPE_CHECKING:
    from netplan.readers.mapping import Mapping, read_mapping

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


# Few sources need a mapping.
__getattr__ = names_on_first_use(
    __name__, dict.fromkeys(("Mapping", "read_mapping"), "netplan.readers.mapping")
)
