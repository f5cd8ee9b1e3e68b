"""Which source layer feeds which layer of the contract."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from netplan.network.contract import layer_specs
from netplan.readers.mapping.draft.look import SeenColumn, SeenLayer
from netplan.readers.vocabulary import likeness, pipe_kind

__all__ = ["Guess", "guess_layers"]

_GEOMETRY: Final = {
    "LineString": ("line",),
    "Point": ("point",),
    "Polygon": ("polygon",),
    "any": ("line", "polygon", "point", "other"),
}


@dataclass(frozen=True, slots=True, eq=False)
class Guess:
    """A source layer, or part of it, taken for a layer of the contract.

    Parameters
    ----------
    target : str
        Layer of the contract.
    seen : SeenLayer
        Source layer.
    column : str
        Column that says which features are meant; empty for all.
    words : tuple of str
        Its words for them.
    open : dict
        Words of the column of which nobody can say which layer they mean, with their numbers of features,
        empty for those without a word; given with one of the guesses of a layer.
    """

    target: str
    seen: SeenLayer
    column: str = ""
    words: tuple[str, ...] = ()
    open: dict[str, int] = field(default_factory=dict)


def guess_layers(layers: tuple[SeenLayer, ...]) -> list[Guess]:
    """Return what each source layer is taken for, in the order of the contract."""
    guesses: list[Guess] = []
    for seen in layers:
        target = _target(seen)
        if target in ("mains", "services"):
            guesses += _pipes(seen, target)
        elif target is not None:
            guesses.append(Guess(target, seen))
    order = list(layer_specs())
    return sorted(guesses, key=lambda guess: (order.index(guess.target), guess.seen.name))


def _target(seen: SeenLayer) -> str | None:
    scores = {
        name: likeness("layer", name, seen.name)
        for name, spec in layer_specs().items()
        if seen.geometry in _GEOMETRY[spec.geometry]
    }
    best = max(scores, key=lambda name: scores[name], default=None)
    return best if best is not None and scores[best] > 0 else None


def _pipes(seen: SeenLayer, target: str) -> list[Guess]:
    """Return mains and services of a table of pipes, parted by a column whose words say both."""
    for column in seen.columns:
        kinds = _kinds(column)
        if {"mains", "services"} <= set(kinds.values()):
            words = {
                wanted: tuple(word for word, meant in kinds.items() if meant == wanted)
                for wanted in ("mains", "services")
            }
            return [
                Guess("mains", seen, column.name, words["mains"], _open(column, kinds)),
                Guess("services", seen, column.name, words["services"]),
            ]
    return [Guess(target, seen)]


def _open(column: SeenColumn, kinds: dict[str, str]) -> dict[str, int]:
    """Return the words of a column that say neither mains nor services, with their numbers of features."""
    without = len(column.texts) - sum(column.words.values())
    words = {word: count for word, count in column.words.items() if word not in kinds}
    return words | ({"": without} if without else {})


def _kinds(column: SeenColumn) -> dict[str, str]:
    kinds = {word: pipe_kind(word) for word in column.words}
    return {word: kind for word, kind in kinds.items() if kind is not None}
