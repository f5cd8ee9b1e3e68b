"""Column mapping: a company's own layers, columns, words and units, as those of the input contract."""

from netplan.readers.mapping.apply_mapping import mapped_layers
from netplan.readers.mapping.mapping_file import Mapping, parse_mapping, read_mapping

__all__ = ["Mapping", "mapped_layers", "parse_mapping", "read_mapping"]
