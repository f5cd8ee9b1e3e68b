"""``gas-netplan check``: every finding about a network at once."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer
from rich import box
from rich.table import Table
from rich.text import Text as RichText

from netplan.cli.door import console
from netplan.errors import BadNetworkError
from netplan.findings import Finding, Severity, errors_of, in_order
from netplan.network.checks import check_network
from netplan.readers import read_network

STYLE = {Severity.ERROR: "bold", Severity.WARNING: "", Severity.NOTE: "dim"}


def command(
    network: Annotated[Path, typer.Argument(help="GeoPackage, or folder of files named after the layers.")],
    json_out: Annotated[Path | None, typer.Option("--json", help="Write the findings as JSON too.")] = None,
) -> None:
    """Print every finding about a network; exit code 2 when one of them stops a plan."""
    try:
        findings = check_network(read_network(network))
    except BadNetworkError as error:
        findings = tuple(getattr(error, "findings", ()))
        if not findings:
            raise
    found = in_order(findings)
    if json_out is not None:
        rows = [asdict(finding) for finding in found]
        json_out.write_text(json.dumps(rows, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    _print(found)
    stopping = errors_of(found)
    if stopping:
        raise BadNetworkError(
            f"{network.name}: {len(stopping)} errors stop a plan; mend them as the table says"
        )


def _print(found: tuple[Finding, ...]) -> None:
    screen = console()
    if not found:
        screen.print("No findings.")
        return
    table = Table(box=box.SIMPLE_HEAD)
    for name in ("severity", "code", "layer", "feature", "what", "how to mend"):
        table.add_column(name, overflow="fold")
    for f in found:
        table.add_row(
            *(
                RichText(text, style=STYLE[f.severity])
                for text in (f.severity.value, f.code, f.layer, f.feature_id, f.what, f.mend)
            )
        )
    screen.print(table)
    counts = {severity: sum(f.severity is severity for f in found) for severity in Severity}
    screen.print(", ".join(f"{count} {severity.value}s" for severity, count in counts.items() if count))
