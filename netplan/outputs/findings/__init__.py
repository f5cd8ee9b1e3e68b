"""Findings about data on the screen, as JSON and as a GIS layer."""

from netplan.outputs.findings.files import (
    findings_json,
    findings_layer,
    write_findings_json,
    write_findings_layer,
)
from netplan.outputs.findings.terminal import print_findings

__all__ = [
    "findings_json",
    "findings_layer",
    "print_findings",
    "write_findings_json",
    "write_findings_layer",
]
