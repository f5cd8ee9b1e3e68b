"""``gas-netplan stage``: a long renewal split into stages."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from rich.text import Text as RichText

from netplan.cli.choices import MappingFile
from netplan.cli.exit_codes import console
from netplan.cli.progress import progress
from netplan.cli.quantities import AirTempCelsius, Hours, air_temp_c, hours_of
from netplan.cli.start import start_of
from netplan.cli.whole import whole_network
from netplan.core.errors import BadWorkError
from netplan.isolation import MINOR_PER_UNIT
from netplan.outputs.stage_folder import check_stages_target, write_stages_folder
from netplan.outputs.terminal.findings_report import print_unread
from netplan.planning.request import PlanRequest
from netplan.readers import read_mapping
from netplan.rules import read_rules
from netplan.staging import renewal_of_mains, renewal_of_street, stage_renewal


def command(
    network: Annotated[
        str,
        typer.Argument(
            help="GeoPackage, FileGDB, folder of files named after layers, or postgresql://HOST/DATABASE?schema=NAME."
        ),
    ],
    out: Annotated[Path, typer.Option(help="Folder to make.")],
    street: Annotated[str | None, typer.Option(help="Renew all mains that record this street.")] = None,
    main: Annotated[list[str] | None, typer.Option(help="Renew this main; may be repeated.")] = None,
    rules: Annotated[Path | None, typer.Option(help="Planning rules (TOML) over the shipped ones.")] = None,
    mapping: MappingFile = None,
    start: Annotated[str | None, typer.Option(help="Start of a stage's window, ISO 8601 local time.")] = None,
    hours: Hours = None,
    air_temp: AirTempCelsius = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace existing stages.")] = False,
    cache: Annotated[
        Path | None,
        typer.Option(help="Folder that keeps joined networks for the next run on the same data."),
    ] = None,
) -> None:
    """Split a long renewal into stages: fewest customers off at any one time, then lowest burden."""
    if (street is None) == (not main):
        raise BadWorkError("renewal: give either --street, or --main once or more")
    window_h, celsius = hours_of(hours), air_temp_c(air_temp)
    target = check_stages_target(out, overwrite=overwrite)
    screen = console()
    with progress(screen) as tell:
        tell("reading the network")
        joined = whole_network(
            network, "stage", mapping=None if mapping is None else read_mapping(mapping), cache=cache
        )
        renewal = (
            renewal_of_mains(joined, main or []) if street is None else renewal_of_street(joined, street)
        )
        request = PlanRequest(
            joined,
            (),
            read_rules(rules),
            start=start_of(start),
            hours=window_h,
            air_temp_c=celsius,
            weather=False,
        )
        staging = stage_renewal(request, renewal, tell)
        write_stages_folder(staging, out, overwrite=overwrite, target=target)
    print_unread(joined.findings, screen)
    currency = staging.rules.price.currency
    screen.print(
        RichText(
            f"{renewal.length_m:.1f} m in {len(staging.stages)} stages: at most {staging.most_off} customers "
            f"off at any one time, burden {staging.burden_minor / MINOR_PER_UNIT:,.2f} {currency} without "
            f"feeds. {staging.borders_tried} borders, {staging.sections_tried} lengths tried. "
            f"Table and maps: {out}"
        )
    )
