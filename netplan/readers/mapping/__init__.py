"""Column mapping: a company's own layers, columns, words and units, as those of the input contract."""

from netplan.readers.mapping.apply import mapped_layers
from netplan.readers.mapping.model import Mapping
from netplan.readers.mapping.read import parse_mapping, read_mapping

__all__ = ["Mapping", "mapped_layers", "parse_mapping", "read_mapping"]
