"""What a reader of the deliverables may choose."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from netplan.outputs.figures import Figures, figures_of

__all__ = ["Choices"]


@dataclass(frozen=True, slots=True)
class Choices:
    """How the deliverables are made.

    Parameters
    ----------
    units : str
        ``metric`` or ``us``, for what people read; plan.json and plan.gpkg stay metric.
    option : int
        Rank of the option that notices and work pack are made for.
    language : str
        Language of letters where none is recorded.
    words : Path, optional
        Folder of ``words.xx.toml`` files over the shipped words of the letters.
    tiles : str, optional
        Address pattern of an online background for the map, which its reader may switch on.
    papers : bool
        Whether letters, sheets and the work pack are set as PDF.
    """

    units: str = "metric"
    option: int = 1
    language: str = "en"
    words: Path | None = None
    tiles: str | None = None
    papers: bool = True

    @property
    def figures(self) -> Figures:
        """How figures are written.

        Raises
        ------
        BadInputError
            When the units are unknown.
        """
        return figures_of(self.units)
