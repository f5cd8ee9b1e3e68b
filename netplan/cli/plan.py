"""``gas-netplan plan``: where to stop the main, who is affected, what it takes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from netplan.cli.choices import Language, MappingFile, Tiles, Units, Words
from netplan.cli.exit_codes import console
from netplan.cli.orders import customer_rows, read_orders
from netplan.cli.pictures import check_pictures, draw_pictures
from netplan.cli.progress import progress
from netplan.cli.quantities import (
    CHAINAGE,
    LENGTH,
    LON_LAT,
    MAIN_CHAINAGE,
    MAIN_FROM_TO,
    AirTemp,
    Hours,
    air_temp_c,
    air_temp_note,
    hours_of,
)
from netplan.cli.start import start_of
from netplan.cli.work import work_parts
from netplan.demand import read_forecast
from netplan.outputs.plan_folder import check_target, write_plan_folder
from netplan.outputs.reader_choices import Choices, check_choices
from netplan.outputs.terminal.plan_summary import print_summary
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.readers import open_source, read_mapping, read_network
from netplan.readers.sources.areas import read_area
from netplan.readers.sources.file_limits import LIMITS, UNLIMITED
from netplan.rules import read_rules

Network = Annotated[
    str,
    typer.Argument(
        help="GeoPackage, FileGDB, folder of files named after layers, or postgresql://HOST/DATABASE?schema=NAME."
    ),
]


def command(
    network: Network,
    out: Annotated[Path, typer.Option(help="Plan folder to make.")],
    main: Annotated[str | None, typer.Option(help="Main to be made gas-free.")] = None,
    from_: Annotated[
        str | None,
        typer.Option(
            "--from", metavar=CHAINAGE, help="Chainage where the work section begins [m], or with its unit."
        ),
    ] = None,
    to: Annotated[
        str | None, typer.Option(metavar=CHAINAGE, help="Chainage where it ends [m], or with its unit.")
    ] = None,
    and_main: Annotated[
        list[str] | None,
        typer.Option(metavar=MAIN_FROM_TO, help="A further length [m], or with units; may be repeated."),
    ] = None,
    area: Annotated[Path | None, typer.Option(help="File with a polygon: every main inside it.")] = None,
    at: Annotated[
        str | None, typer.Option(metavar=LON_LAT, help="The nearest main there [°], with --length.")
    ] = None,
    length: Annotated[
        str | None,
        typer.Option(metavar=LENGTH, help="Length of main to be gas-free around --at [m], or with its unit."),
    ] = None,
    rules: Annotated[Path | None, typer.Option(help="Planning rules (TOML) over the shipped ones.")] = None,
    mapping: MappingFile = None,
    start: Annotated[str | None, typer.Option(help="Start of the window, ISO 8601 local time.")] = None,
    hours: Hours = None,
    air_temp: AirTemp = None,
    forecast: Annotated[
        Path | None, typer.Option(help="CSV of hourly air temperatures; needs --start.")
    ] = None,
    force: Annotated[
        list[str] | None,
        typer.Option(metavar=MAIN_CHAINAGE, help="Stop here [m, or with its unit], or a valve id."),
    ] = None,
    forbid: Annotated[
        list[str] | None,
        typer.Option(metavar=MAIN_CHAINAGE, help="No stop here [m, or with its unit], or a valve id."),
    ] = None,
    keep_out: Annotated[
        Path | None, typer.Option(help="File with polygons where no stop may be dug.")
    ] = None,
    max_stops: Annotated[int | None, typer.Option(min=1, help="Never more stops than this.")] = None,
    keep_on: Annotated[
        list[str] | None, typer.Option(help="Customer that must stay on; may be repeated.")
    ] = None,
    own_supply: Annotated[
        list[str] | None, typer.Option(help="Priority customer with a named supply of its own.")
    ] = None,
    no_bypass: Annotated[
        bool, typer.Option("--no-bypass", help="Look for options without any feed.")
    ] = False,
    no_weather: Annotated[
        bool, typer.Option("--no-weather", help="Do not look for the coldest weather: quicker.")
    ] = False,
    no_papers: Annotated[
        bool, typer.Option("--no-papers", help="Set no letters, sheets or work pack: quicker.")
    ] = False,
    options: Annotated[int | None, typer.Option(min=1, max=50, help="How many options to list.")] = None,
    units: Units = "metric",
    language: Language = "en",
    words: Words = None,
    tiles: Tiles = None,
    charts: Annotated[
        Path | None, typer.Option(help="Folder for the pictures of the bypasses, SVG and PNG.")
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace an existing plan folder.")] = False,
    within: Annotated[
        Path | None, typer.Option(help="File with a polygon: read what touches it, and nothing else.")
    ] = None,
    cache: Annotated[
        Path | None,
        typer.Option(help="Folder that keeps joined networks for the next run on the same data."),
    ] = None,
    any_size: Annotated[
        bool, typer.Option("--any-size", help="Read files of any size and number of features.")
    ] = False,
) -> None:
    """Plan the stopping of a work section and write a plan folder.

    Every quantity may carry its unit: '39 °F', '540 min', '12 ft'. Without one it is in the unit in brackets;
    chainages and lengths are metres with --units us too.
    """
    window_h, celsius, note = hours_of(hours), air_temp_c(air_temp, units), air_temp_note(air_temp, units)
    begin = start_of(start)

    def request() -> PlanRequest:
        planning_rules = read_rules(rules)
        joined = read_network(
            open_source(network, UNLIMITED if any_size else LIMITS),
            mapping=None if mapping is None else read_mapping(mapping),
            within=None if within is None else read_area(within),
            cache=cache,
            set_aside=True,
        )
        return PlanRequest(
            network=joined,
            parts=work_parts(
                joined,
                main=main,
                from_m=from_,
                to_m=to,
                and_main=and_main or [],
                area=area,
                at=at,
                length=length,
            ),
            rules=planning_rules,
            start=begin,
            hours=window_h,
            air_temp_c=celsius,
            forecast=None if forecast is None else read_forecast(forecast),
            orders=read_orders(
                joined,
                force=force or [],
                forbid=forbid or [],
                keep_out=keep_out,
                max_stops=max_stops,
                keep_on=keep_on or [],
            ),
            feeds_allowed=not no_bypass,
            own_supply=customer_rows(joined, own_supply or [], "--own-supply"),
            options=options,
            weather=not no_weather,
        )

    choices = Choices(units=units, language=language, words=words, tiles=tiles, papers=not no_papers)
    run_plan(request, out, overwrite=overwrite, choices=choices, charts=charts, note=note)


def run_plan(
    request: Callable[[], PlanRequest],
    out: Path,
    *,
    overwrite: bool,
    choices: Choices | None = None,
    charts: Path | None = None,
    note: str = "",
) -> None:
    """Plan, write the plan folder whole or not at all, and print the summary."""
    target = check_target(out, overwrite=overwrite)
    check_pictures(charts)
    chosen = choices or Choices()
    check_choices(chosen)
    figures = chosen.figures
    screen = console()
    with progress(screen) as tell:
        tell("reading the network")
        result = make_plan(request(), tell)
        write_plan_folder(result, out, overwrite=overwrite, choices=chosen, progress=tell, target=target)
        drawn = "" if charts is None else draw_pictures(out, charts, figures, tell)
    print_summary(result.plan, screen, units=figures, note=note)
    if drawn:
        screen.print(drawn, soft_wrap=True, markup=False)
