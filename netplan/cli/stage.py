"""``gas-netplan stage``: a long renewal split into stages, each with a plan."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from netplan.cli.options import (
    AirTemp,
    Cache,
    Hours,
    Language,
    MappingFile,
    Network,
    NoBypass,
    NoPapers,
    NoWeather,
    RulesFile,
    Start,
    Units,
    WindowGiven,
    Words,
    air_temp_note,
    check_inputs,
    window_given,
)
from netplan.cli.work import Forbid, KeepOn, KeepOut, MaxOff, MaxStops, OwnSupply
from netplan.core.errors import BadWorkError

if TYPE_CHECKING:
    from netplan.network.model import Network as JoinedNetwork
    from netplan.planning.given_orders import OrdersGiven
    from netplan.planning.request import PlanRequest


def command(
    network: Network,
    out: Annotated[Path, typer.Option(help="Folder to make.")],
    street: Annotated[str | None, typer.Option(help="Renew all mains that record this street.")] = None,
    main: Annotated[list[str] | None, typer.Option(help="Renew this main; may be repeated.")] = None,
    rules: RulesFile = None,
    mapping: MappingFile = None,
    start: Start = None,
    hours: Hours = None,
    air_temp: AirTemp = None,
    forbid: Forbid = None,
    keep_out: KeepOut = None,
    max_stops: MaxStops = None,
    max_off: MaxOff = None,
    keep_on: KeepOn = None,
    own_supply: OwnSupply = None,
    no_bypass: NoBypass = False,
    no_weather: NoWeather = False,
    no_papers: NoPapers = False,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace existing stages.")] = False,
    units: Units = "metric",
    language: Language = "en",
    words: Words = None,
    cache: Cache = None,
) -> None:
    """Split a long renewal into stages and plan each of them.

    Fewest meters off at any one time, then the lowest burden (the price by the rules), what neighbouring
    stages share paid once. The window and the orders are those of every stage; --start is that of the first.
    """
    if (street is None) == (not main):
        raise BadWorkError("renewal: give --street, or --main once or more, not both")
    from netplan.outputs.output_folders import check_stages_target
    from netplan.outputs.reader_choices import Choices, check_choices
    from netplan.planning.given_orders import orders_given

    check_inputs(network, texts=(mapping, rules), polygons=(keep_out,))
    target = check_stages_target(out, overwrite=overwrite)
    choices = Choices(units=units, language=language, words=words, papers=not no_papers)
    check_choices(choices)
    window = window_given(start, hours, air_temp, units)
    orders = orders_given(
        force=[],
        forbid=forbid or [],
        keep_out=keep_out,
        max_stops=max_stops,
        max_off=max_off,
        keep_on=keep_on or [],
    )

    from netplan.cli.networks import whole_network
    from netplan.cli.terminal import console, progress
    from netplan.outputs.stage_folder import write_stages_folder
    from netplan.outputs.terminal.findings_report import print_unread
    from netplan.outputs.terminal.stage_summary import stage_lines
    from netplan.outputs.terminal.wrapped_lines import print_lines
    from netplan.staging import renewal_of_mains, renewal_of_street, stage_renewal

    terminal, said, feeds = console(), list[str](), not no_bypass
    with progress(terminal) as tell:
        tell("reading the network")
        joined = whole_network(network, "stage", mapping=mapping, cache=cache)
        renewal = (
            renewal_of_mains(joined, main or []) if street is None else renewal_of_street(joined, street)
        )
        request = _request(joined, rules, window, orders, own_supply or [])
        request = replace(request, weather=not no_weather, feeds_allowed=feeds)
        staging = stage_renewal(request, renewal, tell)
        write_stages_folder(
            staging, out, overwrite=overwrite, choices=choices, target=target, tell=tell, warn=said.append
        )
    print_unread(joined.findings, terminal)
    note = air_temp_note(air_temp, units)
    print_lines(terminal, [*([note] if note else []), *stage_lines(staging, out, choices.figures), *said])


def _request(
    network: JoinedNetwork,
    rules: Path | None,
    window: WindowGiven,
    orders: OrdersGiven,
    own_supply: list[str],
) -> PlanRequest:
    """Return what every stage is planned for; its work is filled in stage by stage."""
    from netplan.planning.given_orders import customer_rows
    from netplan.planning.request import PlanRequest
    from netplan.readers import read_polygons
    from netplan.rules import read_rules

    return PlanRequest(
        network,
        (),
        read_rules(rules),
        start=window.start,
        hours=window.hours,
        air_temp_c=window.air_temp_c,
        orders=orders.on(network, read_polygons),
        own_supply=customer_rows(network, own_supply, "--own-supply"),
    )
