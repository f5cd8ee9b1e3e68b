"""Everything the page of the work's day shows, as plain JSON data."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from netplan.core.units import convert
from netplan.outputs.item_words import clock, pressure_of_test
from netplan.outputs.number_format import Figures
from netplan.outputs.work_day.expected_reading import reading_limits, weather_table
from netplan.outputs.work_day.feed_drop import drop_medium, most_drop_mbar
from netplan.outputs.work_day.planned_times import bars_by_step, cut_hold, latest_cut_min, start_clock
from netplan.outputs.work_day.text_references import with_references
from netplan.planfile.model import (
    ITEM_STATES,
    AffectedCustomer,
    Change,
    FeedTest,
    LetByTest,
    LossRow,
    Need,
    Option,
    OrderItem,
    Plan,
    PressureTest,
    PurgePath,
    Reading,
    Step,
    Timeline,
)
from netplan.planfile.plan_json import plan_digest
from netplan.planfile.revision import revision_code

__all__ = ["page_data"]

Data = dict[str, Any]

_DAY_PARTS = ("before", "day", "after")
_READ_WITH = ("vented", "gas-free", "air", "gas")
"""States of a part of which a gas instrument tells."""


def page_data(plan: Plan, rank: int, units: Figures, addresses: Mapping[str, str]) -> Data:
    """Return the data of the page; every text in it is data, to be shown as it is.

    Parameters
    ----------
    plan : Plan
        It holds no priority notes, so that the page cannot.
    rank : int
        Rank of the option that the page opens with.
    units : Figures
        How figures are written, and in which units readings are typed; the log holds mbar and °C.
    addresses : mapping of str to str
        Addresses of customers, by id: a failure touches more of them than the plan names.

    Returns
    -------
    dict
        Texts of the options that come again are in `words`, and there a reference, "~" and a place in them.
        Customers whom a failure takes off are ranges of places in `doors`, from and to in turn.
    """
    conditions = plan.conditions
    hour, minute = start_clock(plan)
    doors = sorted({id_ for option in plan.options for row in option.loss_sheet for id_ in row.customers})
    place = {id_: k for k, id_ in enumerate(doors)}
    known = {c.id: c.address for option in plan.options for c in option.customers} | dict(addresses)
    tables = _Tables(units)
    words, options = with_references([_option(plan, one, units, place, tables) for one in plan.options])
    return {
        "plan_sha256": plan_digest(plan),
        "revision": revision_code(plan),
        "caution": plan.caution,
        "work": ", ".join(
            f"{w.main_id} {units.length(w.from_m)} – {units.length(w.to_m)}" for w in plan.work
        ),
        "start": conditions.start,
        "start_min": 60 * hour + minute,
        "hours": conditions.hours,
        "air_temp": units.temperature(conditions.air_temp_c),
        "units": _units(units),
        "option": rank,
        "meter_states": [state for state in ITEM_STATES["meter"] if state != "on"],
        "doors": [[id_, known.get(id_, "")] for id_ in doors],
        "words": words,
        "tables": tables.tables,
        "readings": tables.readings,
        "options": options,
    }


def _units(units: Figures) -> Data:
    pressure, temperature = units.kind("pressure"), units.kind("temperature")
    let_by = units.kind("let_by")
    zero = convert(0.0, temperature.stored, temperature.shown)
    return {
        "name": units.name,
        "pressure": pressure.sign,
        "mbar": convert(1.0, pressure.shown, pressure.stored),
        "pressure_digits": pressure.decimals,
        "let_by": let_by.sign,
        "l_min": convert(1.0, let_by.shown, let_by.stored),
        "temperature": temperature.sign,
        "zero_c": zero,
        "per_c": convert(1.0, temperature.stored, temperature.shown) - zero,
    }


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'s' * (count != 1)}"


def _option(plan: Plan, option: Option, units: Figures, doors: Mapping[str, int], tables: _Tables) -> Data:
    bars = bars_by_step(option)
    cut = cut_hold(option)
    off = sum(customer.meters for customer in option.customers if customer.effect == "off")
    data: Data = {
        "rank": option.rank,
        "words": f"{_counted(len(option.stops), 'stop')}, {_counted(off, 'meter')} off",
        "warnings": [units.sentence(line) for line in option.warnings],
        "first": _groups((item.kind, item.first, item.id) for item in option.items),
        "steps": [],
        "meters": _meters(option),
        "losses": [_loss(row, units, doors) for row in option.loss_sheet],
        "timeline": None if option.timeline is None else _timeline(plan, option.timeline),
    }
    gauges = _gauge_places(option, units)
    for step in option.steps:
        one = _step(step, units) | {"readings": [tables.reading(r, gauges) for r in step.readings]}
        bar = bars.get(step.n)
        if bar is not None:
            one["bar"] = [_DAY_PARTS.index(bar.day), bar.start_min, bar.end_min, int(bar.critical)]
        if cut is not None and step.n == cut.n:
            one["cut"] = True
        data["steps"].append(one)
    return data


class _Tables:
    """Readings and their tables over the weather, each kept once: many steps share a state."""

    def __init__(self, units: Figures) -> None:
        self._units = units
        self.tables: list[Data] = []
        self.readings: list[list[Any]] = []
        self._places: dict[Any, int] = {}

    def reading(self, reading: Reading, gauges: Mapping[str, str]) -> int:
        """Return the place of a reading: gauge and its place, band, warning, abort low and high, table."""
        limits = reading_limits(reading, self._units)
        row = [reading.gauge_id, gauges.get(reading.gauge_id, ""), limits.band_mbar]
        row += [limits.warning_mbar, limits.abort_mbar, limits.abort_high_mbar, self._table(reading)]
        if tuple(row) not in self._places:
            self._places[tuple(row)] = len(self.readings)
            self.readings.append(row)
        return self._places[tuple(row)]

    def _table(self, reading: Reading) -> int:
        table = weather_table(reading)
        if table not in self._places:
            values = [_differences(row) for row in table.expect_mbar]
            self._places[table] = len(self.tables)
            self.tables.append({"t": table.air_temps_c, "h": table.hours, "v": values})
            if table.always_mbar is not None:
                self.tables[-1]["always"] = table.always_mbar
        return self._places[table]


def _differences(row: Iterable[float | None]) -> list[int | None]:
    """Return pressures [0.001 mbar], each as its difference from the one before."""
    found: list[int | None] = []
    before = 0
    for value in row:
        if value is None:
            found.append(None)
            continue
        whole = round(value * 1000)
        found.append(whole - before)
        before = whole
    return found


def _groups(rows: Iterable[tuple[str, ...]]) -> list[list[Any]]:
    """Return ids in groups of what stands before them: a hundred meters are one line, not a hundred."""
    found: dict[tuple[str, ...], list[str]] = {}
    for *key, id_ in rows:
        found.setdefault(tuple(key), []).append(id_)
    return [[*key, ids] for key, ids in found.items()]


def _needs(needs: Iterable[Need]) -> list[list[Any]]:
    return _groups((need.kind, need.state, need.id) for need in needs)


def _changes(changes: Iterable[Change]) -> list[list[Any]]:
    return _groups((change.kind, change.from_, change.to, change.id) for change in changes)


def _step(step: Step, units: Figures) -> Data:
    data: Data = {
        "n": step.n,
        "stage": step.stage,
        "does": units.sentence(step.does),
        "who": step.who,
        "hold": step.hold,
        "minutes": step.minutes,
        "if_not": units.sentence(step.if_not),
        "needs": _needs(step.needs),
        "changes": _changes(step.changes),
        "trench": step.trench,
        "manned": step.manned,
        "tests": [_pressure_test(test, units) for test in step.pressure_tests],
    }
    if step.expect_mbar is not None and not step.readings:
        place = f" at {step.expect_at}" if step.expect_at else ""
        data["expect"] = f"{units.pressure(step.expect_mbar)}{place}"
    if step.let_by is not None:
        data["let_by"] = _let_by(step.let_by, units)
    if step.feed_test is not None:
        data["feed_test"] = _feed_test(step, step.feed_test, units)
    if step.across_mbar is not None:
        data["across"] = units.against(step.across_mbar)
    if step.purge is not None:
        data["purge"] = _purge(step.purge, units)
    if any(change.kind == "part" and change.to in _READ_WITH for change in step.changes):
        data["gas"] = True
    return {key: value for key, value in data.items() if value not in ("", (), [], None, False)}


def _gauge_places(option: Option, units: Figures) -> dict[str, str]:
    places = {one.id: f"{one.main_id} {units.chainage(one.chainage_m)}" for one in option.zone_gauges}
    addresses = {customer.id: customer.address for customer in option.customers}
    for gauge in option.gauges:
        if gauge.customer:
            words = f"meter of {addresses.get(gauge.customer) or gauge.customer}"
        else:
            words = f"{gauge.main_id} {units.chainage(gauge.chainage_m)}"
        places[gauge.id] = words
    return places


def _let_by(test: LetByTest, units: Figures) -> Data:
    return {
        "name": test.name,
        "barriers": test.barriers,
        "sum": test.is_sum,
        "meter_at": test.meter_at,
        "across": None if test.across_mbar is None else units.pressure(test.across_mbar),
        "limit_l_min": test.limit_l_min,
        "limit_mbar": test.limit_mbar,
        "resolution_l_min": test.resolution_l_min,
        "zone": None if test.zone_mbar is None else units.pressure(test.zone_mbar),
        "minutes": test.minutes,
    }


def _purge(path: PurgePath, units: Figures) -> Data:
    return {
        "part": path.part_id,
        "inlet": path.inlet,
        "outlet": path.outlet,
        "medium": path.medium,
        "end": units.sentence(path.end),
    }


def _pressure_test(test: PressureTest, units: Figures) -> str:
    """Return a test of tightness or strength in one line."""
    against = f"; stands against {', '.join(test.against)}" if test.against else ""
    held = f"{pressure_of_test(test, units)}, {test.minutes:g} min, {test.medium}"
    return f"{test.what}: {held}{against}"


def _feed_test(step: Step, test: FeedTest, units: Figures) -> Data:
    """Return what a bypass is measured by at a step, with air or with gas; the most as printed [mbar]."""
    medium = drop_medium(step)
    return {
        "feed": test.feed_id,
        "of": medium,
        "flow": units.flow(test.flow_m3h),
        "drop": units.pressure(test.air_drop_mbar if medium == "air" else test.drop_mbar),
        "most": most_drop_mbar(step, test, units),
        "error": units.held(test.error_mbar),
    }


def _meters(option: Option) -> list[Data]:
    """Return the meters that go off, as they are relit, with the state that the plan leaves them in."""
    off = [customer for customer in option.customers if customer.effect == "off"]
    last: dict[str, OrderItem] = {item.id: item for item in option.items if item.kind == "meter"}

    def row(customer: AffectedCustomer) -> Data:
        item = last.get(customer.id)
        return {
            "id": customer.id,
            "address": customer.address,
            "meters": customer.meters,
            "priority": bool(customer.priority),
            "tail": item is not None and item.role == "tail",
            "off_from": _clock(customer.off_from),
            "on_by": _clock(customer.on_by),
        }

    return [row(customer) for customer in sorted(off, key=lambda one: (one.relit or 0, one.address, one.id))]


def _clock(moment: str | None) -> str:
    return (moment or "")[11:16] or (moment or "")


def _loss(row: LossRow, units: Figures, doors: Mapping[str, int]) -> Data:
    place = row.place or (f"{row.main_id} {units.chainage(row.chainage_m)}" if row.main_id else "")
    data: Data = {
        "id": row.id,
        "what": units.sentence(row.what),
        "items": row.items,
        "state": row.state,
        "leave": row.leave,
        "action": units.sentence(row.action),
        "act_on": row.act_on,
        "place": place,
        "who": row.who,
        "doors": _ranges([doors[id_] for id_ in row.customers]),
        "meters_first": bool(row.meters_first),
        "feeds_again": row.feeds_again,
        "barrier": "" if row.barrier_mbar is None else units.against(row.barrier_mbar),
        "meters": row.meters,
        "flow": "" if row.flow_m3h is None else units.load(row.flow_m3h),
        "least": "" if row.least_mbar is None else units.held(row.least_mbar),
        "seconds": None if row.at_once else row.seconds,
        "minutes": row.minutes,
        "solved": row.solved,
        "note": units.sentence(row.note),
    }
    return {key: value for key, value in data.items() if value not in ("", (), [], None, False)}


def _ranges(places: Iterable[int]) -> list[int]:
    """Return places as ranges, from and to in turn, both within: 0 1 2 5 becomes 0 2 5 5."""
    found: list[int] = []
    for place in sorted(places):
        if found and place == found[-1] + 1:
            found[-1] = place
        else:
            found += [place, place]
    return found


def _timeline(plan: Plan, timeline: Timeline) -> Data:
    relit, conditions = timeline.relit_min, plan.conditions
    return {
        "latest_cut": latest_cut_min(plan, timeline),
        "latest_clock": timeline.latest_cut,
        "gas_back": clock(conditions, timeline.gas_back_min),
        "day_end": clock(conditions, timeline.day_end_min),
        "relit": None if relit is None else clock(conditions, relit),
        "slack": timeline.slack_min,
    }
