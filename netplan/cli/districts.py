"""``gas-netplan districts``: index a network kept by district, so that a plan reads those near the work."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netplan.cli.options import AnySize, MappingFile, check_inputs, mapping_given


def command(
    network: Annotated[
        str,
        typer.Argument(
            help="Folder with a folder of layers, or a GeoPackage, for each district; or "
            "postgresql://HOST/DATABASE?schema=NAME with --column."
        ),
    ],
    out: Annotated[Path, typer.Option(help="Folder to make for the index.")],
    column: Annotated[
        str | None, typer.Option(help="Of a database: column of every table that names the district.")
    ] = None,
    mapping: MappingFile = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace an index that stands there.")
    ] = False,
    any_size: AnySize = False,
) -> None:
    """Index a network kept by district for plan --districts.

    Reads one district at a time and what lies beside it, whatever the size of the whole. Index again after
    any district has changed.
    """
    check_inputs(network, texts=(mapping,))
    from netplan.cli.terminal import console, progress
    from netplan.outputs.terminal.wrapped_lines import print_lines
    from netplan.readers.districts.build_index import build_index
    from netplan.readers.districts.district_index import check_place
    from netplan.readers.districts.district_sources import open_districts
    from netplan.readers.sources.file_limits import LIMITS, UNLIMITED

    check_place(out, overwrite=overwrite)
    terminal = console()
    source = open_districts(network, column, UNLIMITED if any_size else LIMITS)
    with progress(terminal) as tell:
        found = build_index(
            source, out, mapping=mapping_given(mapping), column=column or "", overwrite=overwrite, tell=tell
        )
    lines = [
        f"{found.districts:,} districts: {found.pipes:,} live pipes, {found.customers:,} customers",
        (
            f"{found.systems:,} pressure systems with a station, {found.over_borders:,} of them in several "
            f"districts; the largest has {found.largest:,} pipes"
        ),
        f"index: {out}",
    ]
    if found.errors:
        lines.insert(
            2,
            f"{found.errors:,} errors of the records: a plan that reads their districts is refused; "
            "gas-netplan check names them, district by district",
        )
    print_lines(terminal, lines)
