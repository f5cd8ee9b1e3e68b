"""``gas-netplan plan``: where to stop the main, who is affected, what it takes."""

from __future__ import annotations

import gc
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from netplan.cli.networks import check_districts
from netplan.cli.options import (
    AirTemp,
    AnySize,
    Cache,
    Districts,
    Hours,
    Language,
    Layers,
    MappingFile,
    Memory,
    Network,
    NoBypass,
    NoPapers,
    NoWeather,
    RulesFile,
    Start,
    Tiles,
    Units,
    Within,
    Words,
    air_temp_note,
    check_charts_folder,
    check_forecast,
    check_inputs,
    mapping_given,
    window_given,
)
from netplan.cli.work import (
    AndMain,
    Area,
    At,
    Forbid,
    Force,
    From,
    KeepOn,
    KeepOut,
    Length,
    Main,
    MaxOff,
    MaxStops,
    OwnSupply,
    To,
)
from netplan.core.errors import BadInputError
from netplan.core.input_paths import check_plan_folder

if TYPE_CHECKING:
    from netplan.network.model import Network as JoinedNetwork
    from netplan.network.unread_districts import DistrictsNeededError
    from netplan.outputs.atomic_writes import Target
    from netplan.outputs.reader_choices import Choices
    from netplan.planfile.plan_result import PlanResult
    from netplan.planning.request import PlanRequest
    from netplan.readers.districts.near_network import NearDistricts


def command(
    network: Network,
    out: Annotated[Path, typer.Option(help="Plan folder to make.")],
    main: Main = None,
    from_: From = None,
    to: To = None,
    and_main: AndMain = None,
    area: Area = None,
    at: At = None,
    length: Length = None,
    rules: RulesFile = None,
    mapping: MappingFile = None,
    start: Start = None,
    hours: Hours = None,
    air_temp: AirTemp = None,
    forecast: Annotated[
        Path | None,
        typer.Option(
            help="CSV of hourly air temperatures, instead of --air-temp; needs --start. First line "
            "time,air_temp_c; then a line for each hour: 2026-01-31T07:00,-3.5 (local time, °C)."
        ),
    ] = None,
    force: Force = None,
    forbid: Forbid = None,
    keep_out: KeepOut = None,
    max_stops: MaxStops = None,
    max_off: MaxOff = None,
    keep_on: KeepOn = None,
    own_supply: OwnSupply = None,
    no_bypass: NoBypass = False,
    no_weather: NoWeather = False,
    no_papers: NoPapers = False,
    options: Annotated[int | None, typer.Option(min=1, max=50, help="How many options to list.")] = None,
    units: Units = "metric",
    language: Language = "en",
    words: Words = None,
    tiles: Tiles = None,
    layers: Layers = None,
    charts: Annotated[
        Path | None, typer.Option(help="Folder for the pictures of the bypasses, SVG and PNG.")
    ] = None,
    replaces: Annotated[
        Path | None,
        typer.Option(metavar="PLAN_DIR", help="Earlier plan of this work; the new one supersedes it."),
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace an existing plan folder.")] = False,
    within: Within = None,
    cache: Cache = None,
    any_size: AnySize = False,
    districts: Districts = None,
    memory: Memory = 3,
) -> None:
    """Plan the stopping of a work section and write a plan folder.

    Every quantity may carry its unit: '39 °F', '540 min', '12 ft'. Without one it is in the unit in brackets;
    chainages and lengths are then metres, even with --units us.
    """
    from netplan.outputs.output_folders import check_target
    from netplan.outputs.reader_choices import Choices, check_choices
    from netplan.planning.given_orders import customer_rows, orders_given, work_given

    check_inputs(network, texts=(rules, mapping, forecast), polygons=(area, keep_out, within))
    check_districts(districts, within, cache)
    target = check_target(out, overwrite=overwrite)
    check_earlier(replaces, out)
    choices = Choices(
        units=units,
        language=language,
        words=words,
        tiles=tiles,
        papers=not no_papers,
        layers=tuple(layers or ()),
    )
    check_choices(choices)
    check_charts_folder(charts)
    window = window_given(start, hours, air_temp, units)
    check_forecast(forecast, air_temp, has_start=start is not None)
    work = work_given(
        main=main, from_m=from_, to_m=to, and_main=and_main or [], area=area, at=at, length=length
    )
    orders = orders_given(
        force=force or [],
        forbid=forbid or [],
        keep_out=keep_out,
        max_stops=max_stops,
        keep_on=keep_on or [],
        max_off=max_off,
    )

    notes = [line for line in (air_temp_note(air_temp, units),) if line]
    readers: list[NearDistricts] = []

    def joined_network() -> JoinedNetwork:
        from netplan.readers import open_source, read_network
        from netplan.readers.sources.areas import read_area
        from netplan.readers.sources.file_limits import LIMITS, UNLIMITED

        limits = UNLIMITED if any_size else LIMITS
        if districts is not None:
            if not readers:
                from netplan.cli.networks import districts_near

                named = (*(keep_on or ()), *(own_supply or ()))
                readers.append(
                    districts_near(network, districts, work, orders, named, mapping, memory, limits)
                )
            return readers[0].network()
        return read_network(
            open_source(network, limits),
            mapping=mapping_given(mapping),
            within=None if within is None else read_area(within),
            cache=cache,
            set_aside=True,
        )

    def request() -> PlanRequest:
        from netplan.demand import read_forecast
        from netplan.outputs.superseding import check_replaced
        from netplan.outputs.terminal.keep_out_notes import keep_out_notes
        from netplan.planning.request import PlanRequest
        from netplan.readers import read_polygons
        from netplan.rules import read_rules

        planning_rules = read_rules(rules)
        joined = joined_network()
        parts, ordered = work.on(joined, read_polygons), orders.on(joined, read_polygons)
        notes.extend(keep_out_notes(joined, ordered.keep_out, keep_out, choices.figures))
        return PlanRequest(
            network=joined,
            parts=parts,
            rules=planning_rules,
            start=window.start,
            hours=window.hours,
            air_temp_c=window.air_temp_c,
            forecast=None if forecast is None else read_forecast(forecast),
            orders=ordered,
            feeds_allowed=not no_bypass,
            own_supply=customer_rows(joined, own_supply or [], "--own-supply"),
            options=options,
            weather=not no_weather,
            replaces=None if replaces is None else check_replaced(replaces, {p.main_id for p in parts}),
        )

    def more_files() -> dict[str, str]:
        from netplan.outputs.keep_out_file import KEEP_OUT_FILE, keep_out_text
        from netplan.readers import read_polygons

        return (
            {} if keep_out is None else {KEEP_OUT_FILE: keep_out_text(read_polygons(keep_out, "EPSG:4326"))}
        )

    run_plan(
        request,
        target,
        choices=choices,
        charts=charts,
        notes=notes,
        more_files=more_files,
        replaces=replaces,
        read_more=lambda needed: readers[0].add(needed),
    )


def check_earlier(folder: Path | None, out: Path) -> None:
    """Refuse an earlier plan that is no plan folder, or would be written over.

    Raises
    ------
    BadInputError
    """
    if folder is None:
        return
    check_plan_folder(folder)
    if folder.resolve() == out.resolve():
        raise BadInputError(f"--replaces {folder}: is also --out; write the new plan to another folder")


def run_plan(
    request: Callable[[], PlanRequest],
    target: Target,
    *,
    choices: Choices | None = None,
    charts: Path | None = None,
    notes: Sequence[str] = (),
    more_files: Callable[[], dict[str, str]] = dict,
    replaces: Path | None = None,
    read_more: Callable[[DistrictsNeededError], None] | None = None,
) -> None:
    """Plan, write the plan folder whole or not at all, and print the summary."""
    from netplan.cli.terminal import console, progress
    from netplan.outputs.plan_folder import write_plan_folder
    from netplan.outputs.reader_choices import Choices
    from netplan.outputs.terminal.folder_lines import folder_lines
    from netplan.outputs.terminal.plan_summary import print_summary
    from netplan.outputs.terminal.wrapped_lines import print_lines

    chosen = choices or Choices()
    terminal, lines = console(), list[str]()
    with progress(terminal) as tell:
        tell("reading the network")
        asked, result = _planned(request, tell, read_more)
        more = more_files()
        write_plan_folder(
            result,
            target.out,
            choices=chosen,
            progress=tell,
            target=target,
            more_files=more,
            warn=lines.append,
        )
        if asked.replaces is not None and replaces is not None:
            from netplan.outputs.superseding import note_superseded

            note_superseded(replaces, asked.replaces, result.plan, target.out)
        drawn = ""
        if charts is not None:
            from netplan.cli.bypass import draw_charts

            drawn = draw_charts(target.out, charts, chosen.figures, tell)
    print_summary(result.plan, terminal, units=chosen.figures, notes=notes)
    print_lines(terminal, (*lines, *([drawn] if drawn else []), *folder_lines(target.out)))


def _planned(
    request: Callable[[], PlanRequest],
    tell: Callable[[str], None],
    read_more: Callable[[DistrictsNeededError], None] | None,
) -> tuple[PlanRequest, PlanResult]:
    """Plan, and again where the answer may hang on districts that were not read."""
    from netplan.network.unread_districts import DistrictsNeededError
    from netplan.planning.make_plan import make_plan

    while True:
        asked = request()
        try:
            return asked, make_plan(asked, tell)
        except DistrictsNeededError as needed:
            if read_more is None:
                raise
            read_more(needed)
            tell("reading more districts")
        # What was read before goes before more is read.
        del asked
        gc.collect()
