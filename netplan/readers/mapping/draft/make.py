"""The draft of a mapping, from a source to TOML."""

from __future__ import annotations

from typing import Any, Final

from netplan.network.contract import layer_specs
from netplan.readers.mapping.draft.columns import DraftFeed, draft_feed, references
from netplan.readers.mapping.draft.layers import Guess, guess_layers
from netplan.readers.mapping.draft.look import look_at
from netplan.readers.mapping.draft.write import Draft, draft_text
from netplan.readers.source import LayerSource

__all__ = ["draft_mapping"]

_POINTED_AT: Final = ("services", "regulators")


def draft_mapping(source: LayerSource) -> Draft:
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
        feeds[id(guess)] = feed = draft_feed(guess, ids)
        if guess.target in _POINTED_AT and guess.target not in ids:
            ids[guess.target] = references(guess, feed)
    used = {guess.seen.name for guess in guesses}
    left = tuple(layer for layer in seen if layer.name not in used)
    return draft_text(source.name, [feeds[id(guess)] for guess in guesses], left, unread, _missing(guesses))


def _missing(guesses: list[Guess]) -> tuple[str, ...]:
    found = {guess.target for guess in guesses}
    return tuple(name for name, spec in layer_specs().items() if spec.required and name not in found)
