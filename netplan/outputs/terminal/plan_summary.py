"""The plan in the terminal: options, stops, who is off, bypass, gas, findings, and the caution."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence

from rich.console import Console
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from netplan.core.findings import READING_CODES
from netplan.network.checks.finding_groups import Group, group_of
from netplan.outputs.notice_list import customers_in_doubt
from netplan.outputs.number_format import METRIC, Figures, figures_for_weather
from netplan.outputs.route_words import route_words
from netplan.outputs.terminal.findings_report import print_unread
from netplan.planfile.model import FindingRow, Option, Plan, Stop, Timeline, TrustRow, WeatherLine
from netplan.planfile.revision import revision_code
from netplan.planfile.station_words import SHUT_IN

__all__ = ["print_summary"]

_FINDINGS_SHOWN = 8
MINUTES_A_DAY = 24 * 60


def print_summary(plan: Plan, console: Console, *, units: Figures = METRIC, note: str = "") -> None:
    """Print a plan for people; text from the data is shown as it is, never as markup.

    Parameters
    ----------
    plan : Plan
    console : rich.console.Console
    units : Figures
        How figures are written.
    note : str
        What is to be said of how the order was read.
    """
    units = figures_for_weather(units, plan)
    console.print(_head(plan, units))
    if note:
        console.print(Text(note))
    console.print(_options(plan, units))
    if plan.options:
        best = plan.options[0]
        console.print(_proof(plan))
        console.print(_stops(best, units))
        console.print(_list("Why there", (units.sentence(_why(stop)) for stop in best.stops)))
        for line in _lines(best, units):
            console.print(line)
        if best.warnings:
            console.print(_list("Warnings", map(units.sentence, best.warnings)))
    print_unread(plan.findings, console)
    others = [row for row in plan.findings if row.code not in READING_CODES]
    if others:
        console.print(_findings(others))
    if plan.options and plan.options[0].trust.would_change:
        rows = plan.options[0].trust.would_change
        shown = [_doubt_line(row) for row in rows[:_FINDINGS_SHOWN]]
        if len(rows) > _FINDINGS_SHOWN:
            shown.append(f"… and {len(rows) - _FINDINGS_SHOWN} more in plan.json")
        console.print(_list("Records that would change option 1 if they were wrong", shown))
    if plan.not_checked:
        console.print(_list("Not checked by this version", plan.not_checked))
    console.print(Panel(Text(plan.caution), title="Caution", border_style="bold"))


def _head(plan: Plan, units: Figures) -> Text:
    work = ", ".join(f"{w.main_id} {units.length(w.from_m)} to {units.length(w.to_m)}" for w in plan.work)
    conditions = plan.conditions
    when = conditions.start or "any working day"
    text = Text("Work section: ", style="bold")
    text.append(work, style="")
    text.append(
        f"\n{when}, {conditions.hours:g} h, air {units.temperature(conditions.air_temp_c)}, ", style=""
    )
    text.append(f"network demand {units.load(conditions.demand_total_m3h)}", style="")
    parts = [f"{part.name} {units.load(part.flow_m3h)}" for part in conditions.demand_parts]
    if parts:
        text.append(f"\nof which {'; '.join(parts)}", style="")
    if conditions.note:
        text.append(f"\n{conditions.note}", style="")
    replaced = f", replaces {plan.replaces.revision}" if plan.replaces else ""
    text.append(f"\nRevision {revision_code(plan)}{replaced}", style="")
    return text


def _meters(option: Option, effect: str) -> int:
    return sum(customer.meters for customer in option.customers if customer.effect == effect)


def _options(plan: Plan, units: Figures) -> Table:
    currency = plan.options[0].currency if plan.options else ""
    names = ("option", "stops", "holes", "meters off", "meters kept", "feeds")
    gas, least = units.kind("volume").sign, units.kind("pressure").sign
    table = Table(title="Options: holes against customers off", title_justify="left")
    for name in (*names, f"gas lost {gas}", f"least {least}", f"burden {currency}"):
        table.add_column(Text(name), justify="right")
    for option in plan.options:
        table.add_row(
            str(option.rank),
            str(len(option.stops)),
            str(option.holes),
            str(_meters(option, "off")),
            str(_meters(option, "kept")),
            str(len(option.bypasses) + len(option.opened_valves)),
            units.bare("volume", option.vent.total_m3),
            units.bare("pressure", option.pressures.after.least_mbar, "down"),
            f"{option.burden:,.0f}",
        )
    return table


def _proof(plan: Plan) -> Text:
    best, last = plan.options[0].proof, plan.options[-1].proof
    if not best.optimal:
        return Text(f"Not proven: a burden down to {best.lower_bound:,.0f} may exist ({best.reason}).")
    rest = "" if len(plan.options) == 1 else "; no different option beyond these is cheaper than the last"
    return Text(f"Option 1 has the lowest burden on the recorded data{rest if last.optimal else ''}.")


def _stops(option: Option, units: Figures) -> Table:
    table = Table(title=f"Stops of option {option.rank}", title_justify="left")
    at, size, pressure = (units.kind(what).sign for what in ("chainage", "size", "pressure"))
    for name in ("stop", "method", "main", "street"):
        table.add_column(name, overflow="fold")
    for name in ("barriers", f"at {at}", f"outside {size}", f"pressure {pressure}"):
        table.add_column(name, justify="right")
    for stop in option.stops:
        cells = (
            *(stop.id, stop.method, stop.main_id, stop.street, str(stop.barriers)),
            units.bare("chainage", stop.chainage_m),
            units.bare("size", stop.od_mm),
            units.bare("pressure", stop.pressure_mbar, "up"),
        )
        table.add_row(*(Text(cell) for cell in cells))
    return table


def _why(stop: Stop) -> str:
    note = f"; {stop.confidence_note}" if stop.confidence_note else ""
    return f"{stop.id}: {stop.reason} (records: {stop.confidence}{note})"


def _lines(option: Option, units: Figures) -> Iterable[Text]:
    for effect in ("off", "kept"):
        causes = Counter(c.cause for c in option.customers if c.effect == effect)
        priority = sum(1 for c in option.customers if c.effect == effect and c.priority)
        parts = ", ".join(f"{count} {cause}" for cause, count in sorted(causes.items())) or "none"
        yield _line(
            f"Customers {effect}", f"{parts}; {_meters(option, effect)} meters, {priority} priority customers"
        )
    yield _line("Customers on standby", _standby(option))
    if option.timeline is not None:
        yield _line("Hours", _hours(option.timeline))
    for station in option.shut_in:
        yield _line(f"Station {station}", SHUT_IN)
    for loss in option.losses:
        yield _line(f"If {loss.what} {loss.id} is lost", f"{len(loss.customers)} customers fail")
    doubts = customers_in_doubt(option)
    if doubts:
        priority = sum(bool(one.first.priority) for one in doubts)
        yield _line(
            "Customers in doubt",
            f"{len(doubts)}, {priority} priority customers: they would lose gas if a record were otherwise; "
            "see the warnings",
        )
    for bypass in option.bypasses:
        coldest = bypass.minimum_air_temp_c
        until = "coldest weather not found" if coldest is None else f"holds to {units.coldest(coldest)} air"
        number = f"{bypass.parallel} × " if bypass.parallel > 1 else ""
        yield _line(
            f"{bypass.kind.capitalize()} {bypass.id}",
            f"{units.load(bypass.flow_m3h)}, bore {number}{units.size(bypass.bore_mm)}, "
            f"{units.length(bypass.length_m)}, drop {units.pressure(bypass.drop_mbar)}, "
            f"{units.speed_reached(bypass.velocity_m_s)}, {until}",
        )
        if bypass.route:
            yield _line(f"{bypass.id} route", route_words(bypass, units))
        by_size = [_until(line, bypass.kind, units) for line in option.weather if line.feed == bypass.id]
        if by_size:
            yield _line(f"{bypass.id} coldest air by bore", ", ".join(by_size))
    for valve in option.opened_valves:
        yield _line("Opened valve", f"{valve.valve_id}, {units.load(valve.flow_m3h)}")
    vent = option.vent
    yield _line(
        "Gas",
        f"line content {units.volume(vent.line_content_m3)}, purge {units.volume(vent.purge_m3)}, "
        f"methane {units.mass(vent.methane_kg)}, CO2e {units.mass(vent.co2e_kg)} ({vent.reference})",
    )


def _hours(line: Timeline) -> str:
    """Return when the main is cut at the latest, gas is back and the last meter relit, by the clock."""
    times = [f"cut by {line.latest_cut} at the latest"] if line.latest_cut else []
    times.append(f"gas back {_clock(line, line.gas_back_min)}")
    if line.relit_min is not None:
        times.append(f"last meter relit {_clock(line, line.relit_min)}")
    return f"{', '.join(times)}; {line.slack_min:.0f} min to spare at the end of the crew's day"


def _clock(line: Timeline, minutes: float) -> str:
    at = math.ceil(round(line.start_min + minutes, 6))
    days, rest = divmod(at, MINUTES_A_DAY)
    return f"{rest // 60:02d}:{rest % 60:02d}" + (f", day {days + 1}" if days else "")


def _standby(option: Option) -> str:
    kept = {customer.id for customer in option.customers if customer.effect == "kept"}
    of_these = sum(id_ in kept for id_ in option.standby)
    return f"{len(option.standby)}, off only if a planned stop fails; {of_these} of them kept by a feed"


def _until(line: WeatherLine, kind: str, units: Figures) -> str:
    coldest = line.coldest_air_temp_c
    choice = f"without a {kind}" if line.choice == "none" else line.choice
    return f"{choice} {'at no temperature' if coldest is None else units.coldest(coldest)}"


def _line(name: str, value: str) -> Text:
    text = Text(f"{name}: ", style="bold")
    text.append(value, style="")
    return text


def _findings(rows: Sequence[FindingRow]) -> Text:
    """Return findings by what to do first, each group under its name, and how many more there are."""
    text = Text("Findings in the data that touch this plan", style="bold")
    left = _FINDINGS_SHOWN
    for group in Group:
        # What concerns a whole layer may change any list, so it comes before single features.
        mine = sorted((row for row in rows if group_of(row) is group), key=lambda row: bool(row.feature_id))
        if mine and left > 0:
            text.append(f"\n  {group.title}: {len(mine)}", style="")
            for row in mine[:left]:
                text.append(f"\n    · {_finding_line(row)}", style="")
            left -= len(mine)
    if len(rows) > _FINDINGS_SHOWN:
        text.append(f"\n  … and {len(rows) - _FINDINGS_SHOWN} more in plan.json", style="")
    return text


def _finding_line(row: FindingRow) -> str:
    where = f"{row.layer} {row.feature_id}".strip() or "network"
    return f"{row.severity}: {where}: {row.what}; {row.mend}"


def _doubt_line(row: TrustRow) -> str:
    other = f" and {row.other_id}" if row.other_id else ""
    return f"{row.layer} {row.feature_id}{other}: {row.taken_as}; if {row.may_be}: {row.what}"


def _list(title: str, lines: Iterable[str]) -> Text:
    text = Text(title, style="bold")
    for line in lines:
        text.append(f"\n  · {line}", style="")
    return text
