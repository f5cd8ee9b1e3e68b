"""The way the gas comes in few lines: the pieces of one main, one after the other, as one length."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

__all__ = ["PathLength", "PathPiece", "path_lengths"]


@dataclass(frozen=True, slots=True)
class PathPiece:
    """One piece of pipe or hose on the way, in the direction the gas runs.

    Parameters
    ----------
    name : str
        Layer and pipe, or the bypass.
    length_m : float
    bore_mm : float
    flow_m3h : float
        [m³/h at 15 °C, 101.325 kPa]
    start_mbar, end_mbar : float
        Pressure at both ends [mbar gauge].
    """

    name: str
    length_m: float
    bore_mm: float
    flow_m3h: float
    start_mbar: float
    end_mbar: float


@dataclass(frozen=True, slots=True)
class PathLength:
    """Pieces of one pipe and bore in a row; figures as for a piece, the flow at its two ends [m³/h]."""

    name: str
    length_m: float
    bore_mm: float
    first_flow_m3h: float
    last_flow_m3h: float
    start_mbar: float
    end_mbar: float

    @property
    def drop_mbar(self) -> float:
        """Pressure lost along it [mbar]; below zero where the pressure rises, as it does uphill."""
        return self.start_mbar - self.end_mbar


def path_lengths(pieces: Sequence[PathPiece]) -> tuple[PathLength, ...]:
    """Return the way by pipe: pieces one after the other of one name and bore are one length.

    Parameters
    ----------
    pieces : sequence of PathPiece
        In the order the gas passes them.
    """
    lengths = []
    for (name, bore_mm), group in groupby(pieces, key=lambda piece: (piece.name, piece.bore_mm)):
        rows = list(group)
        first, last = rows[0], rows[-1]
        lengths.append(
            PathLength(
                name=name,
                length_m=sum(row.length_m for row in rows),
                bore_mm=bore_mm,
                first_flow_m3h=first.flow_m3h,
                last_flow_m3h=last.flow_m3h,
                start_mbar=first.start_mbar,
                end_mbar=last.end_mbar,
            )
        )
    return tuple(lengths)
