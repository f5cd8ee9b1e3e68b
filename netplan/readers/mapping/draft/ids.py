"""Which column of a source holds the ids of a layer, and which one refers to those of another."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import pyarrow.compute as pc

from netplan.readers.mapping.draft.look import SeenColumn
from netplan.readers.trade_words import likeness, plain, tokens

__all__ = ["is_machine_key", "likeness_to_id", "likeness_to_reference", "share_of_ids"]

_SEPARATORS: Final = (";", ",", "|", "/")
_ID_ENDINGS: Final = ("id", "nr", "no", "num", "nummer", "number", "numero", "key", "code")
_ID_BEGINNINGS: Final = ("num", "no", "nr", "id")
_FIRST: Final = tuple((word,) for word in _ID_BEGINNINGS)
_UNNAMED_ID: Final = 15.0
"""Likeness of a column with a value of its own for each feature, named a little like one."""

_MACHINE_KEYS: Final = ("objectid", "fid", "ogcfid", "gid", "gisid", "rowid", "oid", "shapeid", "featureid")
_MACHINE_KEY: Final = 5.0
"""Likeness of a key that a database gives and changes at every export: better than nothing."""

_REPEATED_ID: Final = 10.0
"""Likeness of a column named as an id of which some values are repeated: `check` then names them."""
_MOSTLY_IDS, _WHOLE_WORD = 0.9, 60.0
"""Share of different values from which a column may be meant for an id; likeness of a whole word."""

_ID_OF_LAYER: Final = 80.0
"""Likeness of a name that is a word for the layer and one for an id: Leidingnr, NUM_VANNE."""
_POINTED_AT: Final = 300.0
"""Likeness of a column of ids that another layer refers to."""
_SPREAD: Final = 0.5
"""Different values for each id from which a column may refer to another layer: house numbers do not."""


def is_machine_key(name: str) -> bool:
    """Return whether a name is that of a key that a database gives."""
    return plain(name) in _MACHINE_KEYS


def likeness_to_id(target: str, named: float, seen: SeenColumn, pointers: Sequence[Any]) -> float:
    """Return how much a column looks like the id of its layer; 0 for not at all.

    Parameters
    ----------
    target : str
        Layer of the contract.
    named : float
        Likeness of its name to what the trade calls an id.
    pointers : sequence of pyarrow array
        Texts of the columns of other layers that may refer to it.
    """
    name = plain(seen.name)
    if name in _MACHINE_KEYS:
        return _MACHINE_KEY if seen.is_unique else 0.0
    said = named or _UNNAMED_ID * (name.endswith(_ID_ENDINGS) or tokens(seen.name)[:1] in _FIRST)
    if said and any(likeness("layer", target, stem) >= _WHOLE_WORD for stem in _stems(name)):
        said = max(said, _ID_OF_LAYER)
    if seen.different < _MOSTLY_IDS * len(seen.texts):
        return 0.0
    pointed = _POINTED_AT * any(_refers(texts, seen.texts) for texts in pointers)
    if seen.is_unique:
        return said + pointed
    return _REPEATED_ID + pointed if said >= _WHOLE_WORD or pointed else 0.0


def likeness_to_reference(named: float, texts: Any, ids: Any) -> float:
    """Return how much a column looks like one that refers to another layer; 0 for not at all.

    Parameters
    ----------
    named : float
        Likeness of its name.
    texts, ids : pyarrow array
        Its values, and the ids of the other layer; None where nobody knows these.
    """
    share = share_of_ids(texts, ids)[0]
    if share <= 0.5:
        return 0.0
    # Where ids are plain numbers, house numbers are among them too.
    spread = _spread(texts, ids)
    return 500.0 * share + 100.0 * spread + named if named > 0 or spread >= _SPREAD else 0.0


def share_of_ids(texts: Any, ids: Any) -> tuple[float, str]:
    """Return which part of the values are ids of another layer, and what parts several in one value."""
    if ids is None or not len(ids):
        return 0.0, ""
    texts = texts.filter(pc.not_equal(texts, ""))
    best = (0.0, "")
    for separator in ("", *_SEPARATORS):
        if separator and not pc.any(pc.match_substring(texts, separator)).as_py():
            continue
        parts = pc.split_pattern(texts, pattern=separator).flatten() if separator else texts
        parts = pc.utf8_trim_whitespace(parts)
        parts = parts.filter(pc.not_equal(parts, ""))  # a separator may stand at the end too
        share = float(pc.mean(pc.is_in(parts, value_set=ids)).as_py() or 0.0)
        best = max(best, (share, separator), key=lambda pair: pair[0])
    return best


def _stems(name: str) -> list[str]:
    """Return what is left of a name without what says that it is an id."""
    ends = [name.removesuffix(word) for word in _ID_ENDINGS if name.endswith(word)]
    return [*ends, *(name.removeprefix(word) for word in _ID_BEGINNINGS if name.startswith(word))]


def _refers(texts: Any, ids: Any) -> bool:
    """Return whether the values of a column of another layer are mostly ids of this one, and many of them."""
    return share_of_ids(texts, ids)[0] > _MOSTLY_IDS and _spread(texts, ids) >= _SPREAD


def _spread(texts: Any, ids: Any) -> float:
    """Return how many different values a column has for each id that it could refer to."""
    given = texts.filter(pc.not_equal(texts, ""))
    return len(given.unique()) / max(min(len(given), len(ids)), 1)
