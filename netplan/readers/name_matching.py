"""Which name of the contract, or of a mapping, a layer or column of a source is meant by or looks like."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Final

from netplan.core.findings import Severity
from netplan.network.contract import BASE_LAYERS, LayerSpec, layer_specs
from netplan.network.finding_log import FindingLog
from netplan.readers.sources.layer_source import Field
from netplan.readers.trade_words import likeness, plain, tokens

__all__ = [
    "in_one_line",
    "is_given_by_database",
    "match_columns",
    "match_layers",
    "similar_column",
    "similar_layer",
]

_CUT: Final = 10
"""Longest column name that a Shapefile keeps."""
_SAME, _PLURAL, _TRADE, _SPELT, _PART_OF = 400.0, 300.0, 260.0, 250.0, 200.0
"""How alike two names are: the same letters; but for a number or plural; a word of the trade; misspelt."""
_TOKEN: Final = 60.0
"""Likeness from which a word of the trade is a whole word of the name."""
_TRADE_NAME: Final = 100.0
"""Likeness from which a name is a word of the trade, whole."""
_ONE_OFF, _TWO_OFF = 4, 10
"""Letters from which a name may be misspelt by one letter, and by two."""
_NEVER_MISSED: Final = ("priority",)
"""Columns of which a second one is told whatever it is called: part of the priorities may stand there."""
_LONGEST: Final = 60
_GIVEN: Final = (
    "fid",
    "ogcfid",
    "gid",
    "oid",
    "rowid",
    "objectid",
    "featureid",
    "shapeid",
    "shapelength",
    "shapeleng",
    "shapele",
    "shapearea",
    "stlength",
    "starea",
    "geom",
    "geometry",
    "shape",
    "wkbgeometry",
    "thegeom",
    "bbox",
)
"""Columns that a database or a format adds to every layer: they say nothing of a network."""


def match_layers(held: Sequence[str], notes: FindingLog) -> dict[str, str]:
    """Return the layer of the source that is meant by each layer of the contract that is there.

    The exact name goes before one in another case. Where several differ in case alone and none is exact, none
    is read, and that is an error among the findings.
    """
    meant = {}
    for target in layer_specs():
        alike = [name for name in held if name.casefold() == target]
        name = _only(target, alike)
        if name is not None:
            meant[target] = name
        elif alike:
            _ambiguous("layer", target, target, alike, notes)
    for target, name in meant.items():
        if name != target:
            _note_read_as("layer", target, [(name, target)], notes)
    return meant


def match_columns(spec: LayerSpec, fields: Sequence[Field], notes: FindingLog) -> dict[str, str]:
    """Return the columns of the source that the contract knows, with the contract's names.

    As `match_layers`; of a format that cuts names, a cut name in any case is exact enough.
    """
    # No two columns of a layer begin alike, so a cut name still says which is meant.
    short = {column.name[:_CUT]: column.name for column in spec.columns}
    known = {column.name: column.name for column in spec.columns}
    named: dict[str, list[Field]] = {}
    for field in fields:
        target = (short if field.cut else known).get(field.name.casefold())
        if target is not None:
            named.setdefault(target, []).append(field)
    meant: dict[str, str] = {}
    for target, some in named.items():
        exact = target[:_CUT] if some[0].cut else target
        alike = [field.name for field in some]
        name = _only(exact, alike)
        if name is not None:
            meant[name] = target
        else:
            _ambiguous("column", spec.name, target, alike, notes)
    cut = {field.name for field in fields if field.cut}
    other = [(name, target) for name, target in meant.items() if name != target and name not in cut]
    if other:
        _note_read_as("column", spec.name, other, notes)
    return meant


def _only(exact: str, alike: Sequence[str]) -> str | None:
    """Return the one name that is meant: the only one, else the only exact one."""
    if len(alike) == 1:
        return alike[0]
    return exact if list(alike).count(exact) == 1 else None


def _note_read_as(kind: str, layer: str, pairs: Iterable[tuple[str, str]], notes: FindingLog) -> None:
    notes.add(
        "read-as",
        layer,
        "",
        Severity.NOTE,
        ", ".join(f"{kind} {in_one_line(name)} read as {target}" for name, target in sorted(pairs)),
        "rename it, or give a mapping, if that is wrong",
    )


def _ambiguous(kind: str, layer: str, target: str, alike: Sequence[str], notes: FindingLog) -> None:
    notes.add(
        "ambiguous-name",
        layer,
        "",
        Severity.ERROR,
        f"{kind}s {' and '.join(in_one_line(name) for name in sorted(alike))} could all be {target}; "
        "none was read",
        f"name the one that is meant {target}, or give a mapping",
    )


def in_one_line(name: str) -> str:
    """Return a name of a source as it can stand in a line: as written, but in one line and not too long."""
    line = " ".join("".join(sign if sign.isprintable() else " " for sign in name).split())
    return line if len(line) <= _LONGEST else f"{line[: _LONGEST - 1]}…"


def is_given_by_database(column: str) -> bool:
    """Return whether a column is a key or a measure that a database adds to every layer."""
    return plain(column) in _GIVEN


def similar_layer(name: str, others: Collection[str] = ()) -> str:
    """Return the layer that a name looks like, empty for none.

    Parameters
    ----------
    name : str
        Name of a layer in the source.
    others : collection of str
        Names of a mapping besides those of the contract.
    """
    scores = {other: _spelling(name, other, parts=False) for other in sorted(others)}
    for target in layer_specs():
        spelt = _spelling(name, target, parts=True)
        scores[target] = max(scores.get(target, 0.0), spelt, _of_trade("layer", target, name))
    # The base map is no network: nothing that may be a pipe or a customer is taken for it.
    return _best(scores, last=BASE_LAYERS)


def similar_column(
    name: str, spec: LayerSpec, taken: Collection[str], others: Mapping[str, str] | None = None
) -> str:
    """Return the column that a name looks like, empty for none.

    Parameters
    ----------
    name : str
        Name of a column in the source.
    spec : LayerSpec
        Layer of the contract that its features are read as.
    taken : collection of str
        Columns of the contract that are read already: a name is near one of these only where it differs in
        case, separators, plural or a number at its end; any name may be near priority.
    others : mapping, optional
        Columns of the source that a mapping reads, alike in the same way.
    """
    scores: dict[str, float] = {}
    for column in spec.columns:
        score = max(_spelling(name, column.name, parts=True), _of_trade("column", column.name, name))
        if score >= _PLURAL or column.name not in taken or column.name in _NEVER_MISSED:
            scores[column.name] = score
    for other in others or ():
        score = _spelling(name, other, parts=False)
        scores[other] = max(scores.get(other, 0.0), score if score >= _PLURAL else 0.0)
    return _best(scores)


def _best(scores: Mapping[str, float], last: Collection[str] = ()) -> str:
    best = max(
        scores, key=lambda target: (scores[target] > 0 and target not in last, scores[target]), default=""
    )
    return best if best and scores[best] > 0 else ""


def _spelling(name: str, target: str, *, parts: bool) -> float:
    """Return how alike two names are by their letters; 0 for not at all."""
    one, other = plain(name), plain(target)
    if not one or not other:
        return 0.0
    if one == other:
        return _SAME
    if _bare(name) == _bare(target):
        return _PLURAL
    most = (len(other) >= _ONE_OFF) + (len(other) >= _TWO_OFF)
    if most and _distance(one, other, most) <= most:
        return _SPELT
    words = tokens(target)
    if parts and any(tokens(name)[at : at + len(words)] == words for at in range(len(tokens(name)))):
        return _PART_OF + len(other)
    return 0.0


def _of_trade(kind: str, target: str, name: str) -> float:
    alike = max(_of_words(kind, target, name), _exact(likeness(kind, "_".join(tokens(name)), target)))
    if alike >= _TRADE_NAME:
        return _TRADE
    # Half a word says little of a layer: 'domain' holds 'main'. A column is looked for more widely.
    return alike if alike >= _TOKEN or kind == "column" else _of_compound(kind, target, name)


def _of_words(kind: str, target: str, name: str) -> float:
    """Return the likeness of a name, or less of one of its longer words: prio of Prio_2 begins priority."""
    best = likeness(kind, target, name)
    for place, word in enumerate(tokens(name) if kind == "column" else ()):
        if len(word) >= _ONE_OFF:
            # The first word says more: PRIO_CODE is no code.
            best = max(best, min(likeness(kind, target, word), _TOKEN - 1.0) - place)
    return best


def _exact(alike: float) -> float:
    """Return a likeness that is of whole names: where state is a word for status, status may mean state."""
    return alike if alike >= _TRADE_NAME else 0.0


def _of_compound(kind: str, target: str, name: str) -> float:
    """Return the likeness of a name whose last word, its plural ending aside, is a word of the trade."""
    return max(
        (
            likeness(kind, target, token[: len(token) - ending])
            for token in tokens(name)
            for ending in (1, 2)
            if len(token) - ending >= _ONE_OFF
            and likeness(kind, target, token[: len(token) - ending]) >= _TOKEN
        ),
        default=0.0,
    )


def _bare(name: str) -> str:
    words = [token for token in tokens(name) if not token.isdigit()]
    return "".join(words).removesuffix("s")


def _distance(one: str, other: str, most: int) -> int:
    """Return how many letters to add, drop, change or swap with a neighbour; `most` + 1 for more."""
    if abs(len(one) - len(other)) > most:
        return most + 1
    before, last = [0] * (len(other) + 1), list(range(len(other) + 1))
    for row, letter in enumerate(one, start=1):
        here = [row]
        for column, wanted in enumerate(other, start=1):
            step = min(last[column] + 1, here[-1] + 1, last[column - 1] + (letter != wanted))
            swapped = row > 1 and column > 1 and letter == other[column - 2] and one[row - 2] == wanted
            here.append(min(step, before[column - 2] + 1) if swapped else step)
        before, last = last, here
    return last[-1]
