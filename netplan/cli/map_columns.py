"""``gas-netplan map-columns``: a first draft of a mapping, from a look at the data."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netplan.cli.options import AnySize
from netplan.core.errors import BadInputError
from netplan.core.input_paths import network_path


def command(
    data: Annotated[str, typer.Argument(help="GeoPackage, FileGDB, or folder of layers, with any names.")],
    out: Annotated[
        Path | None, typer.Option(help="Write the draft to this file; by default it is printed.")
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace an existing file.")] = False,
    any_size: AnySize = False,
) -> None:
    """Draft a mapping for your data.

    The draft holds guesses with their reasons, and question marks where nothing can be guessed.
    """
    if out is not None and out.exists() and not overwrite:
        raise BadInputError(f"{out}: exists already; give another name, or --overwrite")
    network_path(data)

    from netplan.cli.terminal import console
    from netplan.outputs.terminal.wrapped_lines import print_lines
    from netplan.readers import open_source
    from netplan.readers.mapping.draft_mapping import draft_mapping
    from netplan.readers.sources.file_limits import LIMITS, UNLIMITED

    draft = draft_mapping(open_source(data, UNLIMITED if any_size else LIMITS))
    if out is None:
        typer.echo(draft.text, nl=False)
        return
    _write(draft.text, out)
    told = f"{out}: a draft with {len(draft.gaps)} gaps; read every line, then give it to check --mapping"
    gaps = (f"gap: {gap}" for gap in draft.gaps)
    print_lines(console(), (*("  " + " ".join(line.split()) for line in (*gaps, *draft.notes)), told))


def _write(text: str, out: Path) -> None:
    """Write the file whole or not at all."""
    part = out.with_name(f".{out.name}.part")
    try:
        part.write_text(text, encoding="utf-8", newline="\n")
        part.replace(out)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise BadInputError(f"{out}: cannot be written ({error.strerror or error}); check the path") from None
