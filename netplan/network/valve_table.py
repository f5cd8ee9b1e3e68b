"""The table of valves: where they lie, whether they can be worked, what a hand that turns one needs."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from netplan.core.arrays import Codes, Floats, Ints, Ints32
from netplan.core.constants import MM_PER_M
from netplan.network.normalise import NormalisedTable
from netplan.network.text_column import TextColumn

__all__ = ["Valves", "placed_valves"]


def _no_numbers() -> Floats:
    return np.zeros(0)


@dataclass(frozen=True, slots=True, eq=False)
class Valves:
    """Valves placed on pipes, sorted by id.

    Parameters
    ----------
    id : TextColumn
    state, operable : uint8 arrays
        Codes of `vocabulary.ValveState` and `vocabulary.Operable`.
    pipe, piece : int32 arrays
        Row of the pipe it closes and of its own piece; -1 for a valve that lies on no pipe.
    chainage_m : float array
        Chainage on the pipe [m]; NaN when not placed.
    x_m, y_m : float arrays
        Place on record in the working CRS [m]: that of a valve on no main may be on a service.
    turns_to_close, size_m : float arrays
        Turns of the key from open to shut [-]; nominal size [m]. NaN where not recorded.
    closing_direction, cover_type, last_operated, remark : TextColumn
        As recorded; empty where not.
    """

    id: TextColumn
    state: Codes
    operable: Codes
    pipe: Ints32
    piece: Ints32
    chainage_m: Floats
    turns_to_close: Floats = field(default_factory=_no_numbers)
    size_m: Floats = field(default_factory=_no_numbers)
    closing_direction: TextColumn = field(default_factory=TextColumn)
    cover_type: TextColumn = field(default_factory=TextColumn)
    last_operated: TextColumn = field(default_factory=TextColumn)
    remark: TextColumn = field(default_factory=TextColumn)
    x_m: Floats = field(default_factory=_no_numbers)
    y_m: Floats = field(default_factory=_no_numbers)

    def __post_init__(self) -> None:
        """Give columns that are not recorded the length of the others."""
        n = len(self.id)
        numbers = {
            "turns_to_close": self.turns_to_close,
            "size_m": self.size_m,
            "x_m": self.x_m,
            "y_m": self.y_m,
        }
        texts = {
            "closing_direction": self.closing_direction,
            "cover_type": self.cover_type,
            "last_operated": self.last_operated,
            "remark": self.remark,
        }
        for name, values in numbers.items():
            if n and not len(values):
                object.__setattr__(self, name, np.full(n, np.nan))
        for name, words in texts.items():
            if n and not len(words):
                object.__setattr__(self, name, TextColumn([""] * n))

    def __len__(self) -> int:
        return len(self.id)


def placed_valves(
    table: NormalisedTable, valve_of_piece: Ints32, pipe: Ints, chainage_m: Floats, xy_m: Floats
) -> Valves:
    """Return the table of valves from their layer and their places.

    Parameters
    ----------
    table : NormalisedTable
        The usable valves.
    valve_of_piece : int32 array, shape (pieces,)
        Row of the valve that each piece is; -1 for a piece of pipe.
    pipe : int array
        Row of the pipe that each valve lies on; -1 for none.
    chainage_m : float array
        Chainage on it [m].
    xy_m : float array, shape (valves, 2)
        Places on record in the working CRS [m].
    """
    piece = np.full(len(table), -1, dtype=np.int32)
    own = np.flatnonzero(valve_of_piece >= 0)
    piece[valve_of_piece[own]] = own
    return Valves(
        table.text["id"],
        table.code["state"],
        table.code["operable"],
        np.asarray(pipe, dtype=np.int32),
        piece,
        chainage_m,
        turns_to_close=table.number["turns_to_close"],
        size_m=table.number["size_mm"] / MM_PER_M,
        closing_direction=table.text["closing_direction"],
        cover_type=table.text["cover_type"],
        last_operated=table.text["last_operated"],
        remark=table.text["remark"],
        x_m=xy_m[:, 0].copy(),
        y_m=xy_m[:, 1].copy(),
    )
