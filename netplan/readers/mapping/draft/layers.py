"""Which source layer feeds which layer of the contract."""

from __future__ import annotations

from dataclasses import dataclass
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
    """

    target: str
    seen: SeenLayer
    column: str = ""
    words: tuple[str, ...] = ()


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
            return [
                Guess(kind, seen, column.name, tuple(word for word, meant in kinds.items() if meant == kind))
                for kind in ("mains", "services")
            ]
    return [Guess(target, seen)]


def _kinds(column: SeenColumn) -> dict[str, str]:
    kinds = {word: pipe_kind(word) for word in column.words}
    return {word: kind for word, kind in kinds.items() if kind is not None}
