"""Draft of a mapping: which source layer is meant for which layer of the contract."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from netplan.network.contract import BASE_LAYERS, layer_specs
from netplan.readers.mapping.source_survey import SurveyedColumn, SurveyedLayer
from netplan.readers.trade_words import copy_word, likeness, pipe_kind, state_word, utility_word

__all__ = ["LayerGuess", "guess_layers"]

_GEOMETRY: Final = {
    "LineString": ("line",),
    "Point": ("point",),
    "Polygon": ("polygon",),
    "any": ("line", "polygon", "point", "other"),
}


@dataclass(frozen=True, slots=True, eq=False)
class LayerGuess:
    """A source layer, or part of it, taken for a layer of the contract.

    Parameters
    ----------
    target : str
        Layer of the contract.
    seen : SurveyedLayer
        Source layer.
    column : str
        Column that says which features are meant; empty for all.
    words : tuple of str
        Its words for them.
    open : dict
        Words of the column of which nobody can say which layer they mean, with their numbers of features,
        empty for those without a word; given with one of the guesses of a layer.
    doubt : str
        Why a person has to say whether the layer is meant at all; empty where it is.
    """

    target: str
    seen: SurveyedLayer
    column: str = ""
    words: tuple[str, ...] = ()
    open: dict[str, int] = field(default_factory=dict)
    doubt: str = ""


def guess_layers(layers: tuple[SurveyedLayer, ...]) -> list[LayerGuess]:
    """Return what each source layer is taken for, in the order of the contract."""
    guesses: list[LayerGuess] = []
    for seen in layers:
        target = _target(seen)
        if target in ("mains", "services"):
            guesses += _pipes(seen, target)
        elif target is not None:
            guesses.append(LayerGuess(target, seen, doubt=_doubt(seen, target)))
    order = list(layer_specs())
    return sorted(guesses, key=lambda guess: (order.index(guess.target), guess.seen.name))


def _target(seen: SurveyedLayer) -> str | None:
    scores = {
        name: likeness("layer", name, seen.name)
        for name, spec in layer_specs().items()
        if seen.geometry in _GEOMETRY[spec.geometry]
    }
    best = max(scores, key=lambda name: scores[name], default=None)
    return best if best is not None and scores[best] > 0 else None


def _doubt(seen: SurveyedLayer, target: str) -> str:
    """Return what in the name of a layer says that it is no part of the network; empty for nothing."""
    if target in BASE_LAYERS:
        return ""
    if word := utility_word(seen.name):
        return f"its name says another utility: {word}"
    if word := copy_word(seen.name):
        return f"its name says an old copy: {word}"
    has_states = any(likeness("column", "status", column.name) for column in seen.columns)
    word = "" if has_states else state_word(seen.name)
    return f"its name says pipes without gas, and no column says so: {word}" if word else ""


def _pipes(seen: SurveyedLayer, target: str) -> list[LayerGuess]:
    """Return mains and services of a table of pipes, parted by the column whose words say which is which.

    A column of kinds that says it of a part of the pipes alone is enough: the other words are asked for.
    """
    doubt = _doubt(seen, target)
    parting = [(column, kinds) for column in seen.columns if (kinds := _kinds(column))]
    for column, kinds in sorted(parting, key=lambda pair: -len(set(pair[1].values()))):
        words = {
            wanted: tuple(word for word, meant in kinds.items() if meant == wanted)
            for wanted in ("mains", "services")
        }
        rest = _open(column, kinds)
        if all(words.values()):
            return _parted(seen, column, words, rest, "mains", doubt)
        kind = next(iter(kinds.values()))
        is_of_kinds = likeness("column", "kind", column.name) > 0
        if kind == target:
            if is_of_kinds and rest:
                return _parted(seen, column, words, rest, target, doubt)
        elif is_of_kinds and rest and target == "mains":
            return _parted(seen, column, words, rest, target, doubt)
        else:
            said = f"its name says {target}, and {column.name} says {kind} of {_counted(column, kinds)}"
            return [LayerGuess(target if rest else kind, seen, doubt=doubt or said)]
    return [LayerGuess(target, seen, doubt=doubt)]


def _parted(
    seen: SurveyedLayer,
    column: SurveyedColumn,
    words: dict[str, tuple[str, ...]],
    rest: dict[str, int],
    asks: str,
    doubt: str,
) -> list[LayerGuess]:
    """Return a guess for each kind of pipe that is there; that of `asks` asks for the other words."""
    return [
        LayerGuess(wanted, seen, column.name, some, rest if wanted == asks else {}, doubt)
        for wanted, some in words.items()
        if some or (rest and wanted == asks)
    ]


def _counted(column: SurveyedColumn, kinds: dict[str, str]) -> str:
    return f"{sum(column.words[word] for word in kinds)} of {len(column.texts)} features"


def _open(column: SurveyedColumn, kinds: dict[str, str]) -> dict[str, int]:
    """Return the words of a column that say neither mains nor services, with their numbers of features."""
    without = len(column.texts) - sum(column.words.values())
    words = {word: count for word, count in column.words.items() if word not in kinds}
    return words | ({"": without} if without else {})


def _kinds(column: SurveyedColumn) -> dict[str, str]:
    kinds = {word: pipe_kind(word) for word in column.words}
    return {word: kind for word, kind in kinds.items() if kind is not None}
