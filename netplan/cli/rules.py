"""``gas-netplan rules``: print the shipped rules, comments included, or check a file of one's own."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from netplan.core.errors import BadInputError
from netplan.core.input_paths import check_text_file


def command(
    check: Annotated[
        Path | None, typer.Option(help="Check this rules file instead of printing the shipped one.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="Write the shipped rules to this new file instead of printing them.")
    ] = None,
) -> None:
    """Print the shipped planning rules, or check your own."""
    if check is not None and out is not None:
        raise BadInputError("--check and --out: give one of them")
    if check is not None:
        check_text_file(check)
    if out is not None and out.exists():
        raise BadInputError(f"--out {out}: exists already; name another file, or remove it")

    from netplan.cli.terminal import console
    from netplan.rules import default_rules_text, read_rules

    if out is not None:
        from netplan.outputs.atomic_writes import write_file

        write_file(out, lambda part: part.write_text(default_rules_text(), encoding="utf-8", newline="\n"))
        typer.echo(f"Rules: {out.resolve()}")
        return
    if check is None:
        text, terminal = default_rules_text(), console()
        if terminal.is_terminal or "COLUMNS" in os.environ:  # a file of one's own takes it as it is
            from netplan.outputs.terminal.folded_toml import folded_toml

            text = folded_toml(text, terminal.width)
        typer.echo(text, nl=False)
        return
    read_rules(check)
    typer.echo(f"{check}: every key is known and every value is usable")
