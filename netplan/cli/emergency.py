"""``gas-netplan emergency``: somebody has hit a main; what to shut, in which order, who loses gas."""

from __future__ import annotations

import shlex
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from netplan.cli.options import (
    CHAINAGE,
    LENGTH,
    LON_LAT,
    AirTemp,
    Cache,
    MappingFile,
    Network,
    RulesFile,
    Units,
    check_inputs,
    mapping_given,
    metres,
    window_given,
)
from netplan.core.errors import BadInputError, StoppedError
from netplan.core.units import chainage_m
from netplan.emergency.emergency_place import EmergencyPlace

if TYPE_CHECKING:
    from netplan.emergency.emergency_tables import EmergencyTables
    from netplan.emergency.hit_places import Hits
    from netplan.emergency.next_rings import EmergencyRequest
    from netplan.outputs.number_format import Figures
    from netplan.planfile.emergency_answer import EmergencyAnswer

__all__ = ["command"]


def command(
    network: Network,
    out: Annotated[Path, typer.Option(help="Folder of the answer; run again on it to make a new revision.")],
    at: Annotated[
        str | None, typer.Option(metavar=LON_LAT, help="Where gas escapes [°, longitude first].")
    ] = None,
    main: Annotated[str | None, typer.Option(help="Main or service that was hit.")] = None,
    at_m: Annotated[
        str | None, typer.Option(metavar=CHAINAGE, help="Chainage on that main [m], or with its unit.")
    ] = None,
    address: Annotated[str | None, typer.Option(help="Street and number, such as '12 Weir Lane'.")] = None,
    crews: Annotated[
        int | None, typer.Option(min=1, max=100, help="Crews on their way; by default as in the rules.")
    ] = None,
    valve_failed: Annotated[
        list[str] | None,
        typer.Option(help="Valve that failed to shut; may be repeated, and is kept for later answers."),
    ] = None,
    rules: RulesFile = None,
    mapping: MappingFile = None,
    location_error: Annotated[
        str | None,
        typer.Option(
            metavar=LENGTH,
            help="Every live main within this distance may have been hit [m], or with its unit.",
        ),
    ] = None,
    air_temp: AirTemp = None,
    no_pressures: Annotated[
        bool, typer.Option("--no-pressures", help="Stop after the first answer.")
    ] = False,
    units: Units = "metric",
    cache: Cache = None,
) -> None:
    """Say what to shut when a main was hit.

    It also says in which order, and who will lose gas.

    The operator's emergency procedure and the emergency services govern. The first answer comes at once,
    from the records alone; rings for the case that valves fail, and pressures, follow and replace it. Stop it
    at any time: the last answer stays whole.
    """
    check_inputs(network, texts=(rules, mapping))
    place = _given(at, main, at_m, address)
    error_m = None if location_error is None else metres(location_error, "--location-error")

    celsius = window_given(None, None, air_temp, units).air_temp_c

    from netplan.outputs.emergency.answer_folder import earlier_answer
    from netplan.outputs.number_format import figures_of

    earlier = earlier_answer(out)
    place = _place_of(place, earlier, out)

    from netplan.emergency.answer import first_answer
    from netplan.emergency.kept_tables import keep_tables, tables_for
    from netplan.emergency.next_rings import EmergencyRequest
    from netplan.outputs.figures_for_rules import figures_for_rules
    from netplan.outputs.terminal.emergency_summary import summary_lines
    from netplan.readers import read_network
    from netplan.rules import read_rules

    planning_rules = read_rules(rules)
    figures = figures_for_rules(figures_of(units), planning_rules.values())
    joined = read_network(network, mapping=mapping_given(mapping), cache=cache, keep_pipes=True)
    tables = tables_for(joined, planning_rules, cache)
    if error_m is None:
        error_m = planning_rules.emergency.location_error_m if earlier is None else earlier.location_error_m
    known = () if earlier is None else earlier.failed_valves
    request = EmergencyRequest(
        asked=place.words(),
        crews=crews or _crews_before(earlier) or planning_rules.emergency.crews,
        location_error_m=error_m,
        failed_valves=tuple(dict.fromkeys((*known, *(valve_failed or [])))),
    )
    hits = place.hits(tables, error_m)
    answer = first_answer(
        tables,
        hits,
        request,
        revision=1 if earlier is None else earlier.revision + 1,
        log=() if earlier is None else earlier.log,
    )
    _print(summary_lines(answer, figures))
    try:
        _complete(tables, hits, request, answer, out, figures, celsius, pressures=not no_pressures)
        keep_tables(tables, cache)
    except KeyboardInterrupt:
        raise StoppedError(f"stopped; {out} holds the last answer, whole") from None


def _complete(
    tables: EmergencyTables,
    hits: Hits,
    request: EmergencyRequest,
    answer: EmergencyAnswer,
    out: Path,
    figures: Figures,
    air_temp_c: float | None,
    *,
    pressures: bool,
) -> None:
    """Write a first answer, and replace it by more and more of it.

    Rings in case valves fail, then pressures, then rings in case two valves fail; the sheet with the first
    and with the last.
    """
    from netplan.outputs.emergency.answer_folder import EMERGENCY_PAGE, write_answer

    view = write_answer(out, answer, tables.network, figures)
    _print([f"Page:  {(out / EMERGENCY_PAGE).resolve()}"])

    from netplan.outputs.emergency.emergency_sheet import EMERGENCY_SHEET, write_sheet

    write_sheet(out, answer, view, figures)
    _print([f"Sheet: {(out / EMERGENCY_SHEET).resolve()}"])

    from netplan.emergency.next_rings import with_next_rings

    answer = with_next_rings(tables, hits, request, answer)
    write_answer(out, answer, tables.network, figures)
    if pressures:
        from datetime import datetime

        from netplan.emergency.solved_rings import solved_answer
        from netplan.outputs.terminal.emergency_pressures import pressure_lines

        now = datetime.now()
        answer = solved_answer(tables, hits, request, answer, at=now, air_temp_c=air_temp_c)
        write_answer(out, answer, tables.network, figures)
        _print(pressure_lines(answer, figures))
    answer = with_next_rings(tables, hits, request, answer, pairs=True)
    write_sheet(out, answer, write_answer(out, answer, tables.network, figures), figures)


def _print(lines: Iterable[str]) -> None:
    from netplan.cli.terminal import console
    from netplan.outputs.terminal.wrapped_lines import print_lines

    terminal = console()
    for line in lines:
        print_lines(terminal, [line])
    terminal.file.flush()  # who reads it by a pipe waits for it too


def _crews_before(earlier: EmergencyAnswer | None) -> int:
    """Return the crews of the answer before; 0 without one."""
    return 0 if earlier is None or not earlier.rings else earlier.rings[0].crews


def _given(at: str | None, main: str | None, at_m: str | None, address: str | None) -> EmergencyPlace | None:
    """Read the place; None where none is given.

    Raises
    ------
    BadInputError
        When several are given, or a number cannot be read.
    """
    if sum(one is not None for one in (at, main, address)) > 1:
        raise BadInputError("place: give one of --at, --main with --at-m, and --address")
    if at_m is not None and main is None:
        raise BadInputError("--at-m: needs --main; name the main")
    if at is not None:
        from netplan.planning.given_orders import lon_lat_given

        return EmergencyPlace(at=lon_lat_given(at))
    if main is not None:
        return EmergencyPlace(main=main, at_m=None if at_m is None else round(chainage_m(at_m, "--at-m"), 6))
    return None if address is None else EmergencyPlace(address=address)


def _read_place(asked: str) -> EmergencyPlace:
    """Read a place as an answer keeps it."""
    words = shlex.split(asked)
    values = dict(zip(words[::2], words[1::2], strict=True))
    place = _given(values.get("--at"), values.get("--main"), values.get("--at-m"), values.get("--address"))
    if place is None:
        raise BadInputError(f"emergency.json: {asked!r} names no place; give a new --out")
    return place


def _place_of(place: EmergencyPlace | None, earlier: EmergencyAnswer | None, out: Path) -> EmergencyPlace:
    """Return the place asked for: that of the answer before where none is given, or one of its mains.

    Raises
    ------
    BadInputError
        When there is none, or it is another place than that of the answer before.
    """
    if earlier is None:
        if place is None:
            raise BadInputError("place: none given; give --at, --main with --at-m, or --address")
        return place
    if place is None:
        return _read_place(earlier.asked)
    confirmed = [hit for hit in earlier.hits if hit.main_id == place.main]
    if confirmed and place.at_m is None:
        return EmergencyPlace(main=place.main, at_m=confirmed[0].chainage_m)
    if confirmed or place == _read_place(earlier.asked):
        return place
    raise BadInputError(f"{out}: holds the answer for {earlier.asked}; give a new --out for another place")
