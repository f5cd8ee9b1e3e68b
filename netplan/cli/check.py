"""``gas-netplan check``: every finding about a network at once, and the safe ones mended."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from netplan.cli.choices import MappingFile
from netplan.cli.exit_codes import console
from netplan.cli.quantities import LENGTH, metres
from netplan.core.errors import BadInputError, BadNetworkError
from netplan.core.findings import Finding, errors_of
from netplan.network.checks.missing_joints import NEAR_M
from netplan.network.checks.survey import survey
from netplan.network.model import Network
from netplan.network.repair import repair_layers
from netplan.network.unsized_pipes import may_be_set_aside, too_many
from netplan.outputs.findings_files import write_findings_json, write_findings_layer
from netplan.outputs.repaired_network import print_changes, write_changes, write_mended
from netplan.outputs.terminal.findings_report import print_findings
from netplan.readers import open_source, read_layers, read_mapping
from netplan.readers.mapping.features_not_taken import CLASHING_ID
from netplan.readers.source_findings import with_missing_findings
from netplan.readers.sources.areas import cut_to_area, read_area
from netplan.readers.sources.file_limits import LIMITS, UNLIMITED
from netplan.rules import default_rules

_FEW = 1000


def command(
    network: Annotated[
        str, typer.Argument(help="GeoPackage, FileGDB, or folder of files named after the layers.")
    ],
    mapping: MappingFile = None,
    json_out: Annotated[Path | None, typer.Option("--json", help="Write the findings as JSON too.")] = None,
    layer_out: Annotated[
        Path | None, typer.Option("--layer", help="Write them as a GeoPackage layer of points too.")
    ] = None,
    mend_out: Annotated[
        Path | None,
        typer.Option("--mend", help="New GeoPackage with repeats left out and near ends drawn up."),
    ] = None,
    snap: Annotated[
        str, typer.Option(metavar=LENGTH, help="How far --mend draws an end [m], or with its unit.")
    ] = "0.5",
    changes: Annotated[
        Path | None, typer.Option(help="Write what --mend changed, and left, as JSON.")
    ] = None,
    within: Annotated[
        Path | None, typer.Option(help="File with a polygon: look at what touches it, and nothing else.")
    ] = None,
    any_size: Annotated[
        bool, typer.Option("--any-size", help="Read files of any size and number of features.")
    ] = False,
) -> None:
    """Print every finding about a network; exit code 2 when one of them stops a plan.

    With --mend the findings are those of the mended network.
    """
    source = open_source(network, UNLIMITED if any_size else LIMITS)
    if within is not None and mend_out is not None:
        raise BadInputError("--mend with --within would leave the rest of the network out; give one of them")
    window = None if within is None else read_area(within)
    read = read_layers(source, mapping=None if mapping is None else read_mapping(mapping), within=window)
    raw = with_missing_findings(read, whole=window is None)
    if window is not None:
        raw = cut_to_area(raw, window)
    layers, noticed = raw.layers, raw.findings
    if mend_out is not None:
        reach = metres(snap, "--snap")
        if not 0 < reach <= NEAR_M:
            raise BadInputError(
                f"--snap: {reach:g} m is not above 0 and at most {NEAR_M:g} m; mend others by hand"
            )
        mended = repair_layers(layers, reach)
        layers = mended.layers
        # Rows left out may have held them; an id that is still used twice is a duplicate-id.
        noticed = tuple(finding for finding in noticed if finding.code != CLASHING_ID)
        write_mended(layers, mend_out)
        if changes is not None:
            write_changes(mended, changes)
        print_changes(mended, console())
    seen = survey(layers, raw.source, noticed)
    if json_out is not None:
        write_findings_json(seen.findings, seen.crs, json_out)
    if layer_out is not None:
        write_findings_layer(seen.findings, seen.crs, layer_out)
    near = [finding for finding in seen.findings if may_be_set_aside(finding)]
    many = "" if seen.network is None else _too_many(near, seen.network)
    print_findings(seen.findings, console(), too_many=many)
    _refuse(raw.source, errors_of(seen.findings), near, many)


def _too_many(near: Sequence[Finding], network: Network) -> str:
    """Return why these pipes would stop every plan by the shipped rules; empty where they would not."""
    pipes, bad = network.pipes, {(f.layer, f.feature_id) for f in near}
    counts = []
    for layer, low, high in (("mains", 0, pipes.n_mains), ("services", pipes.n_mains, len(pipes))):
        names = [name for of_layer, name in bad if of_layer == layer]
        held = sum(pipes.id.find(name, low, high) >= 0 for name in names[:_FEW])
        counts.append((len(names), high - low + len(names) - held))
    why = too_many(counts[0], counts[1], default_rules().bad_data)
    return why and f"With the shipped rules these stop every plan too: {why}."


def _refuse(source: str, errors: Sequence[Finding], near: Sequence[Finding], many: str) -> None:
    """Say what stops a plan.

    Raises
    ------
    BadNetworkError
        When an error does.
    """
    everywhere = len(errors) - len(near)
    if everywhere or many:
        count = len(errors) if many else everywhere
        raise BadNetworkError(f"{source}: {_errors(count)} every plan; mend what stands under 'Do'")
    if near:
        raise BadNetworkError(
            f"{source}: {_errors(len(near))} plans near; a plan whose work is far from it goes on; "
            "mend what stands under 'Do'"
        )


def _errors(count: int) -> str:
    return f"{count} error stops" if count == 1 else f"{count} errors stop"
