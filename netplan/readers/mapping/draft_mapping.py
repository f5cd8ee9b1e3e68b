"""The first draft of a mapping, as TOML: what was guessed, from what, and what a person still has to say."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any, Final

import pyarrow as pa
import pyarrow.compute as pc

from netplan.network.contract import layer_specs
from netplan.readers.mapping.draft_columns import DraftColumn, DraftFeed, draft_feed, references
from netplan.readers.mapping.draft_layers import LayerGuess, guess_layers
from netplan.readers.mapping.mapping_file import GAP
from netplan.readers.mapping.source_survey import SurveyedLayer, survey_source
from netplan.readers.name_matching import similar_layer
from netplan.readers.sources.layer_source import LayerSource

__all__ = ["MappingDraft", "draft_mapping", "draft_text"]

_POINTED_AT: Final = {"services": "customers", "regulators": "sensing_points"}
"""Layers whose ids another layer holds."""
_MOST_NAMED: Final = 12
_HEAD: Final = """\
# First draft of a mapping, guessed from names and values. Read every line: a guess is not a record.
# A question mark is a gap: write the column, word or unit that belongs there, or delete the line.
# `gas-netplan check DATA --mapping THIS_FILE` shows what is still wrong.
"""


def draft_mapping(source: LayerSource) -> MappingDraft:
    """Look at a source and write a first draft of its mapping.

    Raises
    ------
    BadInputError
        When the source cannot be read at all.
    """
    seen, unread = survey_source(source)
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


def _pointers(guess: LayerGuess, guesses: list[LayerGuess]) -> list[Any]:
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


def _missing(guesses: list[LayerGuess]) -> tuple[str, ...]:
    found = {guess.target for guess in guesses}
    return tuple(name for name, spec in layer_specs().items() if spec.required and name not in found)


@dataclass(frozen=True, slots=True)
class MappingDraft:
    """The text of a draft, its gaps by name, and what it could not place."""

    text: str
    gaps: tuple[str, ...]
    notes: tuple[str, ...]


def draft_text(
    source: str,
    feeds: list[DraftFeed],
    left: tuple[SurveyedLayer, ...],
    unread: tuple[str, ...],
    missing: tuple[str, ...],
    shared: tuple[str, ...] = (),
) -> MappingDraft:
    """Write a draft.

    Parameters
    ----------
    source : str
        What was looked at.
    feeds : list of DraftFeed
        In the order of the contract.
    left : tuple of SurveyedLayer
        Layers that were taken for nothing.
    unread : tuple of str
        One line for each layer that could not be read.
    missing : tuple of str
        Layers of the contract that must be there and were not found.
    shared : tuple of str
        One line for each pair of layers that become one and share ids.
    """
    gaps: list[str] = []
    lines = [_HEAD, f"# Looked at: {_comment(source)}", 'format = "netplan/mapping/1"', ""]
    for layer in missing:
        gaps.append(f"{layer}: source")
        lines += [f"[[{layer}]] # required, and no layer looks like it", f'source = "{GAP}"', ""]
    for line in shared:
        gaps.append(line)
        lines += [f"# {_comment(line)}: is it the same thing twice? If not, give one of them a prefix.", ""]
    for feed in feeds:
        lines += _feed(feed, gaps)
    for seen in left:
        if (near := similar_layer(seen.name)) and seen.count:
            said = f"{seen.name} ({seen.geometry}, {seen.count} features)"
            gaps.append(f"{near}: is it layer {said}, which is left out?")
            lines += [f"# {near}: is it layer {_comment(said)}? It is left out; nothing else says so.", ""]
    notes = [*unread]
    notes += [f"{layer.name} ({layer.geometry}, {layer.count} features) is left out" for layer in left]
    lines += [f"# Left out: {_comment(note)}" for note in notes]
    return MappingDraft("\n".join(lines).rstrip() + "\n", tuple(gaps), tuple(notes))


def _feed(feed: DraftFeed, gaps: list[str]) -> list[str]:
    guess = feed.guess
    lines = [f"[[{guess.target}]] # {guess.seen.count} features of kind {guess.seen.geometry}"]
    if guess.doubt:
        said = _comment(f"{guess.seen.name} ({guess.seen.geometry}, {guess.seen.count} features)")
        gaps.append(f"{guess.target}: is it layer {said}? {guess.doubt}")
        told = f"{_comment(_text(guess.seen.name), 300)}? {guess.doubt}; write its name, or delete this table"
        lines.append(f'source = "{GAP}" # {told}')
        gaps = []  # nothing else is asked of a table that may not be meant
    else:
        lines.append(f"source = {_text(guess.seen.name)}")
    if not guess.seen.has_crs:
        lines.append('# crs = "EPSG:…" # the layer names no CRS; write its code')
    if feed.height.word:
        lines.append(f"height = {_text(feed.height.word)} # {feed.height.why}")
    if guess.column:
        lines += _where(guess, gaps)
    if feed.size:
        lines.append(f"size = {_text(feed.size)}")
    lines += ["", f"[{guess.target}.columns]"]
    tables: list[str] = []
    for name, column in feed.columns.items():
        if column.source == GAP:
            gaps.append(f"{guess.target}: {name}")
        if column.unit.word == GAP:
            gaps.append(f"{guess.target}: unit of {name}")
        gaps += [f"{guess.target}: {name} {w!r}" for w, meant in column.words.items() if meant == GAP]
        if column.words:
            tables += _words(guess.target, name, column)
        else:
            lines.append(_column(guess.target, name, column))
    if feed.unused:
        more = " …" if len(feed.unused) > _MOST_NAMED else ""
        named = ", ".join(_comment(column) for column in feed.unused[:_MOST_NAMED])
        lines.append(f"# Columns not used: {named}{more}")
    return [*lines, *tables, ""]


def _where(guess: LayerGuess, gaps: list[str]) -> list[str]:
    """Return the condition, with a question mark for words of which nobody can say what they mean."""
    words = ", ".join(_text(word) for word in (*guess.words, *([GAP] if guess.open else [])))
    line = f"where = [{{ column = {_text(guess.column)}, is = [{words}] }}]"
    if not guess.open:
        return [line]
    gaps += [f"{guess.target}: where {guess.column} is {word!r}" for word in guess.open]
    told = ", ".join(f"{_text(word)} ({count})" for word, count in guess.open.items())
    return [
        f"# Not in any table yet: {_comment(told, 1000)}",
        "# Write each where it belongs, in this list or that of another table, instead of the question mark.",
        line,
    ]


def _column(target: str, name: str, column: DraftColumn) -> str:
    parts = [f"from = {_text(column.source)}"]
    if column.unit.word:
        parts.append(f"unit = {_text(column.unit.word)}")
    if column.split:
        parts.append(f"split = {_text(column.split)}")
    if column.decimal != ".":
        parts.append(f"decimal = {_text(column.decimal)}")
    if column.more:
        parts[0] = f"from = [{', '.join(_text(name) for name in (column.source, *column.more))}]"
    value = _text(column.source) if len(parts) == 1 and not column.more else f"{{ {', '.join(parts)} }}"
    why = [column.unit.why] * bool(column.unit.word) + [column.why] * bool(column.why)
    if column.source == GAP:
        spec = next(item for item in layer_specs()[target].columns if item.name == name)
        why.append(f"{spec.description}{f' [{spec.unit}]' if spec.unit else ''}")
    return f"{name} = {value}" + (f" # {_comment('; '.join(why))}" if why else "")


def _words(target: str, name: str, column: DraftColumn) -> list[str]:
    spec = next(item for item in layer_specs()[target].columns if item.name == name)
    why = f" # {_comment(column.why)}" if column.why else ""
    lines = ["", f"[{target}.columns.{name}]", f"from = {_text(column.source)}{why}"]
    meant = ", ".join(spec.words) or spec.description
    if spec.kind == "number":
        lines.append('unlisted = "keep"')
        meant = f'{spec.description}; "" where it is not known; other values are read as they are'
    lines += ["", f"[{target}.columns.{name}.values] # {_comment(meant)}"]
    lines += [
        f"{_text(word)} = {_text(meant)} # {column.counts.get(word, 0)}"
        for word, meant in column.words.items()
    ]
    return lines


def _text(value: str) -> str:
    """Return a TOML string: JSON's form, without the one sign that JSON leaves and TOML forbids."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _comment(value: str, most: int = 200) -> str:
    return " ".join("".join(sign if sign.isprintable() else " " for sign in value).split())[:most]
