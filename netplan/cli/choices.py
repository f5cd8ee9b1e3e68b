"""Options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["Language", "MappingFile", "Tiles", "Units", "Words"]

Units = Annotated[
    str,
    typer.Option(
        help="metric or us, for what people read and for a bare air temperature; plan.json stays metric."
    ),
]
Language = Annotated[str, typer.Option(help="Language of letters where a customer has none recorded.")]
Words = Annotated[
    Path | None, typer.Option(help="Folder with words.xx.toml over the shipped words of the letters.")
]
Tiles = Annotated[
    str | None, typer.Option(help="Online background the map's reader may switch on: an address pattern.")
]
MappingFile = Annotated[
    Path | None,
    typer.Option("--mapping", help="What the layers, columns and words of the data mean (TOML)."),
]
