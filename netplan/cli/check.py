"""``gas-netplan check``: every finding about a network at once, and the safe ones mended."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from netplan.cli.options import LENGTH, AnySize, MappingFile, Units, check_inputs, mapping_given, metres
from netplan.core.errors import BadInputError, BadNetworkError
from netplan.core.findings import Finding, errors_of
from netplan.network.near_miss_distance import NEAR_MISS_M

if TYPE_CHECKING:
    from rich.console import Console

    from netplan.network.model import Network
    from netplan.network.raw_layers import RawLayers
    from netplan.outputs.number_format import Figures

_FEW: Final = 1000


def command(
    network: Annotated[
        str, typer.Argument(help="GeoPackage, FileGDB, or folder of files named after the layers.")
    ],
    mapping: MappingFile = None,
    json_out: Annotated[Path | None, typer.Option("--json", help="Also write the findings as JSON.")] = None,
    layer_out: Annotated[
        Path | None, typer.Option("--layer", help="Also write them as a GeoPackage layer of points.")
    ] = None,
    mend_out: Annotated[
        Path | None,
        typer.Option(
            "--mend", help="New GeoPackage without duplicates, and with near ends extended to their main."
        ),
    ] = None,
    snap: Annotated[
        str, typer.Option(metavar=LENGTH, help="How far --mend extends an end [m], or with its unit.")
    ] = "0.5",
    changes: Annotated[
        Path | None, typer.Option(help="Write what --mend changed, and left, as JSON.")
    ] = None,
    within: Annotated[
        Path | None, typer.Option(help="File with a polygon: check only what touches it.")
    ] = None,
    any_size: AnySize = False,
    units: Units = "metric",
) -> None:
    """Check a network and print every finding.

    Exit code 2 if one of them stops a plan. With --mend the findings are those of the mended network.
    """
    if within is not None and mend_out is not None:
        raise BadInputError("--mend with --within would leave out the rest of the network; give one of them")
    check_inputs(network, texts=(mapping,), polygons=(within,))
    from netplan.outputs.number_format import figures_of

    figures = figures_of(units)
    reach_m = _reach(snap)
    mending = None if mend_out is None else Mending(mend_out, reach_m, changes)

    from netplan.cli.terminal import console
    from netplan.network.checks.survey import survey
    from netplan.network.unsized_pipes import may_be_set_aside
    from netplan.outputs.findings_files import write_findings_json, write_findings_layer
    from netplan.outputs.terminal.findings_report import print_findings

    terminal = console()
    raw = _read(network, mapping, within, any_size=any_size)
    if mending is not None:
        raw = mending.mended(raw, terminal, figures)
    seen = survey(raw.layers, raw.source, raw.findings)
    if json_out is not None:
        write_findings_json(seen.findings, seen.crs, json_out)
    if layer_out is not None:
        write_findings_layer(seen.findings, seen.crs, layer_out)
    near = [finding for finding in seen.findings if may_be_set_aside(finding)]
    many = "" if seen.network is None else _too_many(near, seen.network)
    print_findings(seen.findings, terminal, too_many=many, units=figures)
    _refuse(raw.source, errors_of(seen.findings), near, many)


def _reach(snap: str) -> float:
    """Return how far an end may be drawn [m].

    Raises
    ------
    BadInputError
        When it is no length, or farther than ends are looked for.
    """
    reach_m = metres(snap, "--snap")
    if not 0 < reach_m <= NEAR_MISS_M:
        raise BadInputError(
            f"--snap: {reach_m:g} m is not above 0 and at most {NEAR_MISS_M:g} m; mend others by hand"
        )
    return reach_m


def _read(network: str, mapping: Path | None, within: Path | None, *, any_size: bool) -> RawLayers:
    """Return the layers of a network, or what of them touches an area."""
    from netplan.readers import open_source, read_layers
    from netplan.readers.source_findings import with_missing_findings
    from netplan.readers.sources.areas import cut_to_area, read_area
    from netplan.readers.sources.file_limits import LIMITS, UNLIMITED

    source = open_source(network, UNLIMITED if any_size else LIMITS)
    window = None if within is None else read_area(within)
    read = read_layers(source, mapping=mapping_given(mapping), within=window)
    raw = with_missing_findings(read, whole=window is None)
    return raw if window is None else cut_to_area(raw, window)


@dataclass(frozen=True, slots=True)
class Mending:
    """Where the mended network goes, how far an end is drawn [m], and where the changes are listed."""

    out: Path
    reach_m: float
    changes: Path | None

    def mended(self, raw: RawLayers, terminal: Console, units: Figures) -> RawLayers:
        """Mend the layers, write them, say what was changed, and return them.

        Raises
        ------
        BadInputError
            When a file cannot be written.
        """
        from netplan.network.repair import repair_layers
        from netplan.outputs.repaired_network import print_changes, write_changes, write_network_layers
        from netplan.readers.mapping.features_not_taken import CLASHING_ID

        mended = repair_layers(raw.layers, self.reach_m)
        write_network_layers(mended.layers, self.out)
        if self.changes is not None:
            write_changes(mended, self.changes)
        print_changes(mended, terminal, units=units)
        # Rows left out may have held them; an id that is still used twice is a duplicate-id.
        noticed = tuple(finding for finding in raw.findings if finding.code != CLASHING_ID)
        return replace(raw, layers=mended.layers, findings=noticed)


def _too_many(near: Sequence[Finding], network: Network) -> str:
    """Return why these pipes would stop every plan by the shipped rules; empty where they would not."""
    from netplan.network.unsized_pipes import too_many
    from netplan.rules import default_rules

    pipes, bad = network.pipes, {(f.layer, f.feature_id) for f in near}
    counts = []
    for layer, low, high in (("mains", 0, pipes.n_mains), ("services", pipes.n_mains, len(pipes))):
        names = [name for of_layer, name in bad if of_layer == layer]
        held = sum(pipes.id.find(name, low, high) >= 0 for name in names[:_FEW])
        counts.append((len(names), high - low + len(names) - held))
    why = too_many(counts[0], counts[1], default_rules().bad_data)
    return why and f"By the shipped rules these stop every plan too: {why}."


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
        raise BadNetworkError(f"{source}: {_errors(count)} every plan; mend what is listed under 'Do'")
    if near:
        raise BadNetworkError(
            f"{source}: {_errors(len(near))} plans near; plans far from it are still made; "
            "mend what is listed under 'Do'"
        )


def _errors(count: int) -> str:
    return f"{count} error stops" if count == 1 else f"{count} errors stop"
