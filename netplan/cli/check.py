"""``gas-netplan check``: every finding about a network at once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netplan.cli.choices import MappingFile
from netplan.cli.door import console
from netplan.errors import BadNetworkError
from netplan.findings import errors_of
from netplan.network.checks.survey import survey
from netplan.outputs.findings import print_findings, write_findings_json, write_findings_layer
from netplan.readers import read_layers, read_mapping


def command(
    network: Annotated[Path, typer.Argument(help="GeoPackage, or folder of files named after the layers.")],
    mapping: MappingFile = None,
    json_out: Annotated[Path | None, typer.Option("--json", help="Write the findings as JSON too.")] = None,
    layer_out: Annotated[
        Path | None, typer.Option("--layer", help="Write them as a GeoPackage layer of points too.")
    ] = None,
) -> None:
    """Print every finding about a network; exit code 2 when one of them stops a plan."""
    raw = read_layers(network, mapping=read_mapping(mapping) if mapping else None)
    seen = survey(raw.layers, raw.source, raw.findings)
    if json_out is not None:
        write_findings_json(seen.findings, seen.crs, json_out)
    if layer_out is not None:
        write_findings_layer(seen.findings, seen.crs, layer_out)
    print_findings(seen.findings, console())
    stopping = errors_of(seen.findings)
    if stopping:
        raise BadNetworkError(
            f"{network.name}: {len(stopping)} errors stop a plan; mend them as the table says"
        )
