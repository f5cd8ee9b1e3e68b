"""What a reader of the deliverables may choose."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from netplan.core.errors import BadInputError, quoted
from netplan.outputs.documents.letter_words import read_words
from netplan.outputs.number_format import Figures, figures_of

__all__ = ["LAYER_FORMATS", "Choices", "check_choices"]

LAYER_FORMATS: Final = ("geoparquet", "geojson")
"""Open formats that a plan's layers are written in on demand, besides plan.gpkg."""

_TILES: Final = re.compile(r"https?://[A-Za-z0-9.{}-]+(?::[0-9]{1,5})?/[^\s\"'<>\\]*")
_MOST_TILES: Final = 500
"""Longest address pattern of tiles (own)."""


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
        Language of letters where none is recorded, or none that there are words for: a language tag.
    words : Path, optional
        Folder of ``words.<tag>.toml`` files over the shipped words of the letters.
    tiles : str, optional
        Address pattern of an online background for the map, which its reader may switch on.
    papers : bool
        Whether letters, sheets and the work pack are set as PDF.
    layers : tuple of str
        Of `LAYER_FORMATS`: formats in which the layers of plan.gpkg are written besides, a folder each.
    """

    units: str = "metric"
    option: int = 1
    language: str = "en"
    words: Path | None = None
    tiles: str | None = None
    papers: bool = True
    layers: tuple[str, ...] = ()

    @property
    def figures(self) -> Figures:
        """How figures are written.

        Raises
        ------
        BadInputError
            When the units are unknown.
        """
        return figures_of(self.units)


def check_choices(choices: Choices) -> None:
    """Refuse choices that cannot be followed: call it before a long computation.

    Raises
    ------
    BadInputError
        When units or language are unknown, there are no words where they should be, or the tiles are no
        address pattern of the web, or a format of layers is unknown.
    """
    _ = choices.figures
    known = read_words(choices.words)
    tag = known.tag_of(choices.language)
    if tag is None:
        raise BadInputError(
            f"--language: there are no words for {quoted(choices.language)}; use one of "
            f"{', '.join(sorted(known.words))}, or give --words with a folder that holds words.<tag>.toml"
        )
    _ = known.of_tag(tag)
    unknown = [name for name in choices.layers if name not in LAYER_FORMATS]
    if unknown:
        raise BadInputError(
            f"--layers: {quoted(unknown[0])} is no format of layers; write {' or '.join(LAYER_FORMATS)}"
        )
    tiles = choices.tiles
    if tiles is None:
        return
    held = all(part in tiles for part in ("{z}", "{x}")) and ("{y}" in tiles or "{-y}" in tiles)
    if len(tiles) > _MOST_TILES or not held or not _TILES.fullmatch(tiles):
        raise BadInputError(
            f"--tiles: {quoted(tiles)} is no address pattern with {{z}}, {{x}} and {{y}} in it; "
            "write for example https://HOST/{z}/{x}/{y}.png"
        )
