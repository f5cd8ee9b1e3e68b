"""The draft of a mapping, from a source to TOML."""

from __future__ import annotations

from typing import Any, Final

import pyarrow as pa
import pyarrow.compute as pc

from netplan.network.contract import layer_specs
from netplan.readers.mapping.draft.columns import DraftFeed, draft_feed, references
from netplan.readers.mapping.draft.layers import Guess, guess_layers
from netplan.readers.mapping.draft.look import look_at
from netplan.readers.mapping.draft.write import MappingDraft, draft_text
from netplan.readers.sources.layer_source import LayerSource

__all__ = ["draft_mapping"]

_POINTED_AT: Final = {"services": "customers", "regulators": "sensing_points"}
"""Layers whose ids another layer holds."""


def draft_mapping(source: LayerSource) -> MappingDraft:
    """Look at a source and write a first draft of its mapping.

    Raises
    ------
    BadInputError
        When the source cannot be read at all.
    """
    seen, unread = look_at(source)
    guesses = guess_layers(seen)
    ids: dict[str, Any] = {}
    feeds: dict[int, DraftFeed] = {}
    # Layers that others point to come first, so that their ids are known.
    for guess in sorted(guesses, key=lambda guess: guess.target not in _POINTED_AT):
        feeds[id(guess)] = feed = draft_feed(guess, ids, _pointers(guess, guesses))
        if guess.target in _POINTED_AT and not guess.doubt:
            known = [ids[guess.target]] if guess.target in ids else []
            ids[guess.target] = pa.concat_arrays([*known, references(guess, feed)])
    used = {guess.seen.name for guess in guesses}
    left = tuple(layer for layer in seen if layer.name not in used)
    drafted = [feeds[id(guess)] for guess in guesses]
    return draft_text(source.name, drafted, left, unread, _missing(guesses), _shared(drafted))


def _pointers(guess: Guess, guesses: list[Guess]) -> list[Any]:
    """Return the texts of every column that may hold the ids of a layer."""
    by = _POINTED_AT.get(guess.target)
    return [column.texts for other in guesses if other.target == by for column in other.seen.columns]


def _shared(feeds: list[DraftFeed]) -> tuple[str, ...]:
    """Return one line for each two source layers of one layer of the contract that share ids."""
    lines = []
    for place, feed in enumerate(feeds):
        for before in feeds[:place]:
            one, other = before.guess, feed.guess
            if one.target != other.target or one.doubt or other.doubt:
                continue
            ids, others = references(one, before), references(other, feed)
            both = pc.sum(pc.and_(pc.is_in(others, value_set=ids), pc.not_equal(others, ""))).as_py() or 0
            if both:
                names = f"{one.seen.name} and {other.seen.name}"
                lines.append(f"{one.target}: {both} ids stand in both {names}")
    return tuple(lines)


def _missing(guesses: list[Guess]) -> tuple[str, ...]:
    found = {guess.target for guess in guesses}
    return tuple(name for name, spec in layer_specs().items() if spec.required and name not in found)
