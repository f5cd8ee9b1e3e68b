"""The plan in the terminal: options, stops, who is off, bypass, gas, findings, and the caution."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from typing import Final

from rich.console import Console
from rich.panel import Panel
from rich.text import Text

from netplan.core.findings import READING_CODES
from netplan.network.checks.finding_groups import Group, group_of
from netplan.outputs.figures_for_rules import figures_for_plan
from netplan.outputs.notice_list import customers_in_doubt
from netplan.outputs.number_format import METRIC, Figures
from netplan.outputs.route_words import route_words
from netplan.outputs.terminal.column_layout import TableColumn, heading, print_table
from netplan.outputs.terminal.findings_report import print_unread
from netplan.outputs.terminal.wrapped_lines import print_lines, print_list
from netplan.planfile.model import FindingRow, Option, Plan, Stop, Timeline, TrustRow, WeatherLine
from netplan.planfile.option_differences import options_in_words
from netplan.planfile.revision import revision_code
from netplan.planfile.station_words import SHUT_IN

__all__ = ["NOT_CALCULATED", "print_summary"]

_FINDINGS_SHOWN = 8
MINUTES_A_DAY = 24 * 60
WORDS_OF_THE_TABLE: Final = (
    "holes: places where the ground is opened; feeds: bypasses, hoses and opened valves; "
    "least: the lowest pressure at a kept meter inlet; burden: the price of an option by the rules, "
    "in {currency}"
)
NOT_CALCULATED: Final = "coldest weather not calculated (--no-weather); valid only at the planned temperature"
"""What is said of a plan that was not asked for the coldest weather it holds to."""


def print_summary(
    plan: Plan, console: Console, *, units: Figures = METRIC, notes: Sequence[str] = ()
) -> None:
    """Print a plan for people; text from the data is shown as it is, never as markup.

    Parameters
    ----------
    plan : Plan
    console : rich.console.Console
    units : Figures
        How figures are written.
    notes : sequence of str
        What is to be said of how the order was read.
    """
    units = figures_for_plan(units, plan)
    print_lines(console, _head(plan, units), bold_name=True)
    print_lines(console, notes)
    _options(plan, units, console)
    if plan.options:
        best = plan.options[0]
        print_lines(console, [_proof(plan)])
        _stops(best, units, console)
        print_list(console, "Why there", (units.sentence(_why(stop)) for stop in best.stops))
        print_lines(console, _lines(best, units), bold_name=True)
        if best.warnings:
            print_list(console, "Warnings", map(units.sentence, best.warnings))
    print_unread(plan.findings, console)
    others = [row for row in plan.findings if row.code not in READING_CODES]
    if others:
        print_list(console, "Findings in the data that touch this plan", _findings(others), mark="")
    if plan.options and plan.options[0].trust.would_change:
        rows = plan.options[0].trust.would_change
        shown = [_doubt_line(row) for row in rows[:_FINDINGS_SHOWN]]
        if len(rows) > _FINDINGS_SHOWN:
            shown.append(f"… and {len(rows) - _FINDINGS_SHOWN} more in plan.json")
        print_list(console, "Records that would change option 1 if they were wrong", shown)
    if plan.not_checked:
        print_list(console, "Not checked by this version", plan.not_checked)
    console.print(Panel(Text(plan.caution), title="Caution", border_style="bold"))


def _head(plan: Plan, units: Figures) -> Iterator[str]:
    work = ", ".join(f"{w.main_id} {units.length(w.from_m)} to {units.length(w.to_m)}" for w in plan.work)
    yield f"Work section: {work}"
    conditions = plan.conditions
    when = (conditions.start or "any working day").replace("T", " ")
    yield (
        f"Planned for: {when}, {conditions.hours:g} h, air {units.temperature(conditions.air_temp_c)}, "
        f"network demand {units.load(conditions.demand_total_m3h)}"
    )
    parts = [f"{part.name} {units.load(part.flow_m3h)}" for part in conditions.demand_parts]
    if parts:
        yield f"Of which: {'; '.join(parts)}"
    if conditions.note:
        yield f"Taken: {conditions.note}"
    replaced = f", replaces {plan.replaces.revision}" if plan.replaces else ""
    yield f"Revision: {revision_code(plan)}{replaced}"


def _meters(option: Option, effect: str) -> int:
    return sum(customer.meters for customer in option.customers if customer.effect == effect)


def _options(plan: Plan, units: Figures, console: Console) -> None:
    currency = plan.options[0].currency if plan.options else ""
    gas, least = units.kind("volume").sign, units.kind("pressure").sign
    print_lines(console, [WORDS_OF_THE_TABLE.format(currency=currency or "the rules' currency")])

    def column(name: str, figure: Callable[[Option], str]) -> TableColumn:
        return TableColumn(name, tuple(figure(option) for option in plan.options), figures=True)

    columns = (
        column("option", lambda o: str(o.rank)),
        column("stops", lambda o: str(len(o.stops))),
        column("holes", lambda o: str(o.holes)),
        column("meters off", lambda o: str(_meters(o, "off"))),
        column("meters kept", lambda o: str(_meters(o, "kept"))),
        column("feeds", lambda o: str(len(o.bypasses) + len(o.opened_valves))),
        column(heading("gas lost", gas), lambda o: units.bare("volume", o.vent.total_m3)),
        column(
            heading("least", least), lambda o: units.bare("pressure", o.pressures.after.least_mbar, "down")
        ),
        column(f"burden {currency}".strip(), lambda o: f"{o.burden:,.0f}"),
    )
    print_table(console, columns, title="Options: holes against customers off")
    words = options_in_words(plan.options, units)[1:]
    if words:
        print_list(
            console,
            "Beside option 1",
            (f"option {option.rank}: {line}" for option, line in zip(plan.options[1:], words, strict=True)),
        )


def _proof(plan: Plan) -> str:
    best, last = plan.options[0].proof, plan.options[-1].proof
    if not best.optimal:
        return f"Not proven: a burden down to {best.lower_bound:,.0f} may exist ({best.reason})."
    rest = "" if len(plan.options) == 1 else "; no different option beyond these is cheaper than the last"
    return f"Option 1 has the lowest burden on the recorded data{rest if last.optimal else ''}."


def _stops(option: Option, units: Figures, console: Console) -> None:
    at, size, pressure = (units.kind(what).sign for what in ("chainage", "size", "pressure"))

    def column(name: str, cell: Callable[[Stop], str], *, figures: bool = False) -> TableColumn:
        return TableColumn(name, tuple(cell(stop) for stop in option.stops), figures=figures)

    columns = (
        column("stop", lambda s: s.id),
        column("method", lambda s: s.method),
        column("main", lambda s: s.main_id),
        column("street", lambda s: s.street),
        column("barriers", lambda s: str(s.barriers), figures=True),
        column(heading("at", at), lambda s: units.bare("chainage", s.chainage_m), figures=True),
        column(heading("outside", size), lambda s: units.bare("size", s.od_mm), figures=True),
        column(
            heading("pressure", pressure),
            lambda s: units.bare("pressure", s.pressure_mbar, "up"),
            figures=True,
        ),
    )
    print_table(console, columns, title=f"Stops of option {option.rank}")


def _why(stop: Stop) -> str:
    note = f"; {stop.confidence_note}" if stop.confidence_note else ""
    return f"{stop.id}: {stop.reason} (records: {stop.confidence}{note})"


def _lines(option: Option, units: Figures) -> Iterator[str]:
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
    unknown = "holds at no temperature looked at" if option.weather else NOT_CALCULATED
    for bypass in option.bypasses:
        coldest = bypass.minimum_air_temp_c
        until = f"holds to {units.coldest(coldest)} air" if coldest is not None else unknown
        number = f"{bypass.parallel} × " if bypass.parallel > 1 else ""
        yield _line(
            f"{bypass.kind.capitalize()} {bypass.id}",
            f"{units.load(bypass.flow_m3h)}, bore {number}{units.bore(bypass.bore_mm)}, "
            f"{units.length(bypass.length_m)}, drop {units.pressure(bypass.drop_mbar)}, "
            f"{units.speed_reached(bypass.velocity_m_s)}, {until}",
        )
        if bypass.route:
            yield _line(f"{bypass.id} route", route_words(bypass, units))
        by_size = [_until(line, bypass.kind, units) for line in option.weather if line.feed == bypass.id]
        if by_size:
            yield _line(f"{bypass.id} coldest air by bore", "; ".join(by_size))
    for valve in option.opened_valves:
        yield _line("Opened valve", f"{valve.valve_id}, {units.load(valve.flow_m3h)}")
    vent = option.vent
    yield _line(
        "Gas",
        f"line content {units.volume(vent.line_content_m3)}, purge {units.volume(vent.purge_m3)}, "
        f"methane {units.mass(vent.methane_kg)}, CO2e {units.mass(vent.co2e_kg)} "
        f"({units.sentence(vent.reference)})",
    )


def _hours(line: Timeline) -> str:
    """Return when the main is cut at the latest, gas is back and the last meter relit, by the clock."""
    times = [f"cut by {line.latest_cut} at the latest"] if line.latest_cut else []
    times.append(f"gas back {_clock(line, line.gas_back_min)}")
    if line.relit_min is not None:
        times.append(f"last meter relit {_clock(line, line.relit_min)}")
    return f"{', '.join(times)}; {line.slack_min:.0f} min to spare at the end of the crew's day"


def _clock(line: Timeline, minutes: float) -> str:
    """Return a time of the day to the minute, as the papers write it."""
    days, rest = divmod(line.start_min + round(minutes), MINUTES_A_DAY)
    return f"{rest // 60:02.0f}:{rest % 60:02.0f}" + (f", day {days + 1:.0f}" if days else "")


def _standby(option: Option) -> str:
    kept = {customer.id for customer in option.customers if customer.effect == "kept"}
    of_these = sum(id_ in kept for id_ in option.standby)
    return f"{len(option.standby)}, off only if a planned stop fails; {of_these} of them kept by a feed"


def _until(line: WeatherLine, kind: str, units: Figures) -> str:
    coldest = line.coldest_air_temp_c
    choice = f"without a {kind}" if line.choice == "none" else units.hose_sizes(line.choice)
    return f"{choice} {'at no temperature' if coldest is None else units.coldest(coldest)}"


def _line(name: str, value: str) -> str:
    return f"{name}: {value}"


def _findings(rows: Sequence[FindingRow]) -> Iterator[str]:
    """Yield findings by what to do first, each group under its name, and how many more there are."""
    left = _FINDINGS_SHOWN
    for group in Group:
        # What concerns a whole layer may change any list, so it comes before single features.
        mine = sorted((row for row in rows if group_of(row) is group), key=lambda row: bool(row.feature_id))
        if mine and left > 0:
            yield f"  {group.title}: {len(mine)}"
            yield from (f"    · {_finding_line(row)}" for row in mine[:left])
            left -= len(mine)
    if len(rows) > _FINDINGS_SHOWN:
        yield f"  … and {len(rows) - _FINDINGS_SHOWN} more in plan.json"


def _finding_line(row: FindingRow) -> str:
    where = f"{row.layer} {row.feature_id}".strip() or "network"
    return f"{row.severity}: {where}: {row.what}; {row.mend}"


def _doubt_line(row: TrustRow) -> str:
    other = f" and {row.other_id}" if row.other_id else ""
    return f"{row.layer} {row.feature_id}{other}: {row.taken_as}; if {row.may_be}: {row.what}"
