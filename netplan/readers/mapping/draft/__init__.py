"""A first draft of a mapping, from a look at the data: guesses by names and values, and gaps."""

from netplan.readers.mapping.draft.make import draft_mapping
from netplan.readers.mapping.draft.write import MappingDraft

__all__ = ["MappingDraft", "draft_mapping"]
