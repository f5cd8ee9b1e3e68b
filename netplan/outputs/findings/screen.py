"""Findings as a table on the screen."""

from __future__ import annotations

from collections.abc import Sequence

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from netplan.errors import in_brief, shown
from netplan.findings import Finding, Severity

__all__ = ["print_findings"]

_STYLE = {Severity.ERROR: "bold", Severity.WARNING: "", Severity.NOTE: "dim"}


def print_findings(findings: Sequence[Finding], screen: Console) -> None:
    """Print the findings, and how many of each weight there are."""
    if not findings:
        screen.print("No findings.")
        return
    table = Table(box=box.SIMPLE_HEAD)
    for name in ("severity", "code", "layer", "feature", "what", "how to mend"):
        table.add_column(name, overflow="fold")
    for f in findings:
        cells = (f.severity.value, f.code, f.layer, shown(f.feature_id), in_brief(f.what), f.mend)
        table.add_row(*(Text(cell, style=_STYLE[f.severity]) for cell in cells))
    screen.print(table)
    counts = {severity: sum(f.severity is severity for f in findings) for severity in Severity}
    screen.print(", ".join(f"{count} {severity.value}s" for severity, count in counts.items() if count))
