"""What the papers of an issued plan say that is not so with the same stops and feeds today."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from netplan.network.finding_log import listed
from netplan.planfile.model import Fallback, LossRow, Option, PurgePoint, Stop, Zone
from netplan.planfile.recheck_answer import Against
from netplan.recheck.moved_readings import moved_feed_tests, steps_differ

__all__ = ["corrections_of", "papers_against"]

SAME_M: Final = 0.002
"""How far places may lie apart that are stated to the millimetre (own) [m]."""
LONGER: Final = 0.1
"""Share by which a purge may take longer than the pack says (own) [-]."""
MOST_NAMED: Final = 5
SHORT_M: Final = 0.5
"""Lengths of the zone that differ by less are not told (own) [m]."""


def papers_against(recorded: Option, today: Option, lowered: frozenset[str]) -> list[Against]:
    """Return what the papers say of stops, zones, purging, fallbacks and times that is not so today.

    Parameters
    ----------
    recorded, today : Option
    lowered : frozenset of str
        Customers who failed before any stop and whose pressure the work lowers, by id.
    """
    found = [*_stops(recorded, today), *_zones(recorded, today), *_purge(recorded, today)]
    found += [*_fallbacks(recorded, today), *_lowered_by_work(recorded, today, lowered)]
    order = steps_differ(recorded, today)
    if order:
        found.append(Against(subject="order of work", what=order))
    found += [*_times(recorded, today), *moved_feed_tests(recorded, today)]
    return found


def corrections_of(
    recorded: Option, today: Option, lowered: frozenset[str], dark: frozenset[str]
) -> list[Against]:
    """Return what is to be corrected in the pack of a plan that holds: who fails with a loss, purge times.

    Parameters
    ----------
    recorded, today : Option
    lowered : frozenset of str
        As for `papers_against`.
    dark : frozenset of str
        Customers who have no gas only because a pipe without a usable size is taken as not live, by id.
    """
    found = [*_losses(recorded, today, dark), *_longer_purges(recorded, today)]
    return [*found, *_failing_apart(recorded, today, lowered, dark)]


def _fail_before(recorded: Option, today: Option) -> Iterator[tuple[set[str], str]]:
    """Yield who fails today before any stop and did not when planned, and in words how."""
    was, now = recorded.pressures, today.pressures
    yield set(now.weak_before) - set(was.weak_before), "below the minimum before any stop"
    yield set(now.high_before) - set(was.high_before), "above the highest allowed pressure before any stop"


def _lowered_by_work(recorded: Option, today: Option, lowered: frozenset[str]) -> list[Against]:
    """Return who fails before any stop and has less by the work: no state of the work is judged by them."""
    return [
        Against(subject="pressure", what=f"{words}, and lowered by the work: {_named(some & lowered)}")
        for some, words in _fail_before(recorded, today)
        if some & lowered
    ]


def _failing_apart(
    recorded: Option, today: Option, lowered: frozenset[str], dark: frozenset[str]
) -> list[Against]:
    """Return who fails before any stop whatever the work does: a matter for the control room."""
    return [
        Against(subject="pressure", what=f"{words}, work or no work: {_named(some - lowered - dark)}")
        for some, words in _fail_before(recorded, today)
        if some - lowered - dark
    ]


def _stops(recorded: Option, today: Option) -> list[Against]:
    found = []
    now = {stop.id: stop for stop in today.stops}
    for stop in recorded.stops:
        other = now[stop.id]
        moved = _moved_tappings(stop, other)
        if moved:
            found.append(Against(subject="stop", what=f"{stop.id}: {moved}"))
        if stop.stays_shut != other.stays_shut:
            words = "shut" if other.stays_shut else "open"
            found.append(
                Against(subject="stop", what=f"{stop.id}: valve {stop.valve_id} is recorded {words} now")
            )
        behind = {one.station_id for one in stop.shuts_in} ^ {one.station_id for one in other.shuts_in}
        if behind:
            found.append(
                Against(
                    subject="stop", what=f"{stop.id}: which stations it shuts in differs: {_named(behind)}"
                )
            )
    return found


def _moved_tappings(stop: Stop, other: Stop) -> str:
    was = [(t.role, t.main_id or stop.main_id, t.chainage_m, t.size_mm) for t in stop.tappings]
    now = [(t.role, t.main_id or other.main_id, t.chainage_m, t.size_mm) for t in other.tappings]
    for old in was:
        if not any(_same_tapping(old, new) for new in now):
            role = old[0].replace("_", " ")
            return f"it has no {role} on main {old[1]} at {old[2]:.2f} m ({old[3]:g} mm) today"
    for new in now:
        if not any(_same_tapping(old, new) for old in was):
            role = new[0].replace("_", " ")
            return f"it has a {role} on main {new[1]} at {new[2]:.2f} m today that is not in the pack"
    return ""


def _same_tapping(one: tuple[str, str, float, float], other: tuple[str, str, float, float]) -> bool:
    same = one[:2] == other[:2] and abs(one[3] - other[3]) < 0.1
    return same and abs(one[2] - other[2]) <= SAME_M


def _zone_lengths(zones: Iterable[Zone]) -> dict[tuple[str, str], float]:
    length: dict[tuple[str, str], float] = {}
    for zone in zones:
        for pipe in zone.pipes:
            key = (pipe.layer, pipe.pipe_id)
            length[key] = length.get(key, 0.0) + pipe.to_m - pipe.from_m
    return length


def _zones(recorded: Option, today: Option) -> list[Against]:
    was, now = _zone_lengths(recorded.zones), _zone_lengths(today.zones)
    names = {"mains": "main", "services": "service"}
    found = []
    for key in sorted({*was, *now}):
        old, new = was.get(key), now.get(key)
        pipe = f"{names[key[0]]} {key[1]}"
        if old is None and new is not None:
            words = f"{pipe} ({new:.1f} m) lies in the zone now: the pack does not purge it"
        elif new is None and old is not None:
            words = f"{pipe} does not lie in the zone any more"
        elif old is not None and new is not None and abs(old - new) > SHORT_M:
            words = f"{pipe}: {new:.1f} m of it lie in the zone now, {old:.1f} m in the plan"
        else:
            continue
        found.append(Against(subject="zone", what=words))
    if not found and len(recorded.zones) != len(today.zones):
        words = f"there are {len(today.zones)} zones today, {len(recorded.zones)} in the plan"
        found.append(Against(subject="zone", what=words))
    return found


def _purge(recorded: Option, today: Option) -> list[Against]:
    found = []
    for point, other in _purge_points(recorded, today):
        place = f"{point.id} on main {point.main_id} at {point.chainage_m:.2f} m"
        if other is None:
            found.append(Against(subject="purge", what=f"{place}: no such purge point today"))
            continue
        if other.is_short and not point.is_short:
            what = (
                f"{place}: the flow available for the purge in, {other.flow_in_m3h:.1f} m³/h, is below the "
                f"least, {other.least_m3h:.1f} m³/h: nitrogen is needed, which the pack does not have"
            )
            found.append(Against(subject="purge", what=what))
    return found


def _longer_purges(recorded: Option, today: Option) -> list[Against]:
    found = []
    for point, other in _purge_points(recorded, today):
        for minutes, name in ((_out, "out"), (_in, "in")):
            planned, needed = minutes(point), None if other is None else minutes(other)
            if planned is not None and needed is not None and needed > planned * (1.0 + LONGER) + 0.1:
                place = f"{point.id} on main {point.main_id} at {point.chainage_m:.2f} m"
                what = f"{place}: purging {name} takes {needed:.1f} min today, {planned:.1f} min in the pack"
                found.append(Against(subject="purge", what=what))
    return found


def _purge_points(recorded: Option, today: Option) -> Iterator[tuple[PurgePoint, PurgePoint | None]]:
    """Yield the purge points of a plan with the same ones today; None for none at that place."""
    for point in recorded.purge.points:
        here = [one for one in today.purge.points if _same_point(point, one)]
        # Two zones may be purged at one place: of these the one of the same name.
        yield point, next((one for one in here if one.id == point.id), next(iter(here), None))


def _same_point(one: PurgePoint, other: PurgePoint) -> bool:
    same = (one.role, one.main_id) == (other.role, other.main_id)
    return same and abs(one.chainage_m - other.chainage_m) <= SAME_M


def _out(point: PurgePoint) -> float | None:
    return point.minutes_out


def _in(point: PurgePoint) -> float | None:
    return point.minutes_in


def _uses(fallback: Fallback) -> set[tuple[str, str, float]]:
    return {(u.method, u.valve_id or u.main_id, round(u.chainage_m, 2)) for u in fallback.use}


def _fallbacks(recorded: Option, today: Option) -> list[Against]:
    now = {(row.stop_id, row.failure): row for row in today.fallback}
    found = []
    for row in recorded.fallback:
        other = now.get((row.stop_id, row.failure))
        name = f"{row.stop_id} {row.failure}"
        if other is None:
            found.append(Against(subject="fallback", what=f"{name}: there is no fallback of this kind today"))
            continue
        if _uses(row) != _uses(other):
            words = ", ".join(f"{u[0]} at {u[1]} {u[2]:.2f} m" for u in sorted(_uses(other)))
            found.append(
                Against(
                    subject="fallback",
                    what=f"{name}: its fallback differs today: {words or other.note or 'none'}",
                )
            )
        elif {(s.feed_id, s.main_id) for s in row.shut} != {(s.feed_id, s.main_id) for s in other.shut}:
            found.append(Against(subject="fallback", what=f"{name}: other feeds are to be shut first today"))
        elif row.prepared and not other.prepared:
            found.append(Against(subject="fallback", what=f"{name}: its fallback is not prepared today"))
    return found


def _losses(recorded: Option, today: Option, dark: frozenset[str]) -> list[Against]:
    """Return failures that touch customers whom the pack does not name: it is read in an emergency.

    Whom it names and who would hold today is no correction: too many doors are better than too few.
    """
    was = {(loss.what, loss.id): set(loss.customers) for loss in recorded.losses}
    found = []
    for loss in today.losses:
        more = set(loss.customers) - was.get((loss.what, loss.id), set()) - dark
        if more:
            what = f"loss of {loss.what} {loss.id}: also fails today: {_named(more)}"
            found.append(Against(subject="failure", what=what))
    rows = _by_failure(today.loss_sheet)
    said: dict[str, list[str]] = {}
    for key, row in _by_failure(recorded.loss_sheet).items():
        words = "no such row today" if key not in rows else _row_words(row, rows[key])
        if words:
            said.setdefault(words, []).append(row.id)
    for words, ids in said.items():
        found.append(Against(subject="failure", what=f"loss sheet {listed(ids, MOST_NAMED)}: {words}"))
    return found


def _by_failure(rows: Iterable[LossRow]) -> dict[tuple[str, str, int], LossRow]:
    """Return the rows of a loss sheet by what fails in which state; the same words come one after another."""
    found: dict[tuple[str, str, int], LossRow] = {}
    count: dict[tuple[str, str], int] = {}
    for row in rows:
        key = (row.what, row.state)
        count[key] = count.get(key, 0) + 1
        found[*key, count[key]] = row
    return found


def _row_words(row: LossRow, other: LossRow) -> str:
    """Return what another row of the loss sheet says beyond one of the pack; empty for nothing."""
    more = set(other.customers) - set(row.customers)
    if more:
        return f"also fails today: {_named(more)}"
    acts = set(other.act_on) ^ set(row.act_on)
    if acts:
        return f"what is shut or used differs: {_named(acts)}"
    return "" if other.action == row.action else f"the one thing to do has changed, today: {other.action}"


def _times(recorded: Option, today: Option) -> list[Against]:
    """Return whose gas comes back later than their letter says, or goes off earlier."""
    told = {c.id: c for c in recorded.customers if c.effect == "off"}
    later, earlier = [], []
    for customer in today.customers:
        was = told.get(customer.id)
        if was is None or customer.effect != "off":
            continue
        if was.on_by and customer.on_by and customer.on_by > was.on_by:
            later.append(customer.id)
        if was.off_from and customer.off_from and customer.off_from < was.off_from:
            earlier.append(customer.id)
    found = []
    if later:
        what = f"{len(later)} customers are back later than their letter says: {_named(later)}"
        found.append(Against(subject="customers", what=what))
    if earlier:
        what = f"{len(earlier)} customers go off earlier than their letter says: {_named(earlier)}"
        found.append(Against(subject="customers", what=what))
    return found


def _named(ids: Iterable[str]) -> str:
    return listed(sorted(ids), MOST_NAMED)
