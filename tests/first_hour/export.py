"""What an export script knows: what each source layer and column means, what was planted, what a person answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

__all__ = ["Answers", "Export", "Meant", "Planted"]

Words = Mapping[str, Mapping[str, str]]


@dataclass(frozen=True)
class Meant:
    """What a source layer, or part of it, is for the contract.

    Parameters
    ----------
    target : str
        Layer of the contract.
    columns : dict of str or tuple of str
        Source column of each column of the contract; ``size`` for sizes as text.
    words : dict
        Meaning of each word by column of the contract; case and outer spaces aside.
    units : dict
        Units of number columns, where it is not that of the contract.
    part : str
        Column that parts the features, empty for none.
    is_ : tuple of str
        Its values for this part, as written.
    """

    target: str
    columns: Mapping[str, str | tuple[str, ...]]
    words: Words = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)
    part: str = ""
    is_: tuple[str, ...] = ()


@dataclass(frozen=True)
class Planted:
    """A hostile detail and what `check` or the draft must say of it.

    Parameters
    ----------
    what : str
        The detail.
    code : str
        Code of the finding; ``draft`` where a line of the draft asks.
    says : tuple of str
        Parts that one finding of this code, or one line of the draft, must hold: its layer, column or feature.
    mended : bool
        Whether the first check tells it, and the person mends it after that.
    """

    what: str
    code: str
    says: tuple[str, ...]
    mended: bool = False


@dataclass(frozen=True)
class Answers:
    """What a person who knows the company writes for each question mark, and corrects besides.

    Parameters
    ----------
    words : dict
        Meaning by column of the contract and word; by ``where`` and word, the layer it belongs to.
    units : dict
        What stands in place of ``unit = "?"`` by (layer of the contract, column).
    columns : dict
        Source column by (layer of the contract, column), None where there is none: the line is taken out.
    out : tuple of str
        Source layers whose tables are taken out.
    prefixes : dict
        Prefix by (source layer, column of the contract).
    left_out : dict
        Column and value of a source layer that `where` leaves out, by source layer.
    """

    words: Words
    units: dict[tuple[str, str], str]
    columns: dict[tuple[str, str], str | None] = field(default_factory=dict)
    out: tuple[str, ...] = ()
    prefixes: dict[tuple[str, str], str] = field(default_factory=dict)
    left_out: dict[str, tuple[str, str]] = field(default_factory=dict)


@dataclass(frozen=True)
class Export:
    """An export on disk with all that is known of it.

    Parameters
    ----------
    place : Path
        What `gas-netplan` is to be given.
    truth : dict
        What each source layer means; nothing for layers of others.
    planted : tuple of Planted
        Hostile details.
    answers : Answers
        What a person writes.
    ids : dict
        Id in the export by layer and id of the true town.
    layers : dict
        The true town, by layer of the contract.
    """

    place: Path
    truth: dict[str, tuple[Meant, ...]]
    planted: tuple[Planted, ...]
    answers: Answers
    ids: dict[str, dict[str, str]]
    layers: dict[str, Any]
