"""Rows of the loss sheet for stops: a barrier that bursts, slips or lets by, and both of them lost."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from netplan.planfile import model
from netplan.planning.failures import LOST
from netplan.planning.loss_sheet.loss_case import (
    BEFORE,
    CUT,
    AtPlace,
    LossCase,
    zone_vents_of,
)
from netplan.planning.loss_sheet.loss_network import LossState
from netplan.procedure import Who
from netplan.rules import StopMethod

__all__ = ["stop_rows"]

_FAILS = {"bag": "bursts", "squeeze": "slips", "valve": "lets by in full"}
_AGAIN = "purge and prove gas-free again before anybody goes back"


class _Control(NamedTuple):
    """What takes the place of a stop that is lost: words, ids in their order, where, by whom, minutes."""

    words: str
    act_on: tuple[str, ...]
    at: AtPlace
    who: Who
    minutes: float | None
    feeds: tuple[str, ...]
    off: tuple[str, ...]
    note: str


def stop_rows(case: LossCase) -> Iterator[model.LossRow]:
    """Yield the rows of every stop, the outer barrier first."""
    for stop in case.option.stops:
        barriers = case.items.barriers(stop.id)
        method = next(one for one in case.context.request.rules.method if one.name == stop.method)
        if len(barriers) == 2:
            yield from _outer_fails(case, stop, method)
            yield from _inner_fails(case, stop, method)
        yield from _all_fail(case, stop, barriers)


def _outer_fails(case: LossCase, stop: model.Stop, method: StopMethod) -> Iterator[model.LossRow]:
    """Yield that the inner barrier stands alone, and the vent between lets gas go: a load that is solved."""
    vent, outer = case.items.vent(stop.id), f"{stop.id}-outer"
    name = f"vent {stop.id}"
    is_drawn = name in case.openings
    found = case.network.after((name,)) if is_drawn else None
    on_inner = None if found is None else found.at_mbar[name]
    keep = f"keep {vent.id} open; " if vent is not None else ""
    rating = method.rating_mbar - method.rating_margin_mbar
    note = f"{stop.id}-inner stands alone, rated for {rating:g} mbar"
    fallback = case.fallback(stop.id, "will not set")
    for state in (BEFORE, CUT):
        yield case.row(
            state,
            f"outer {stop.kind} of {stop.id} {_FAILS[stop.kind]}",
            f"{keep}{_mend(stop, method, outer)}{_else(fallback)}",
            Who.STOPS,
            items=(outer,),
            act_on=(*((vent.id,) if vent is not None else ()), outer),
            at=case.at_stop(stop),
            found=found,
            was_solved=is_drawn,
            minutes=method.minutes_fast,
            note=f"{note}; {_AGAIN}" if state == CUT else f"{note}; test for let-by again",
            barrier_mbar=on_inner,
            escapes=True,
        )


def _inner_fails(case: LossCase, stop: model.Stop, method: StopMethod) -> Iterator[model.LossRow]:
    """Yield that outer barrier and vent hold: no gas goes anywhere."""
    inner = f"{stop.id}-inner"
    fallback = case.fallback(stop.id, "will not set")
    for state in (BEFORE, CUT):
        yield case.row(
            state,
            f"inner {stop.kind} of {stop.id} {_FAILS[stop.kind]}",
            f"{_mend(stop, method, inner)}, then test for let-by again{_else(fallback)}",
            Who.STOPS,
            items=(inner,),
            act_on=(inner,),
            at=case.at_stop(stop),
            minutes=method.minutes_fast,
            note=f"{stop.id}-outer and the vent between hold: no gas reaches the zone"
            + (f"; {_AGAIN}" if state == CUT else ""),
        )


def _mend(stop: model.Stop, method: StopMethod, barrier: str) -> str:
    if stop.kind == "bag":
        return f"set a spare bag at {barrier}"
    if stop.kind == "squeeze":
        return f"tighten {barrier} within the stops of its tool"
    return f"shut {barrier} home and lock it ({method.name})"


def _else(fallback: model.Fallback | None) -> str:
    """Return what is to be used if that does not do, by what the plan has."""
    if fallback is None or fallback.minutes is None or not fallback.use:
        # True in either state: with the main cut there is no gas to let back in.
        return "; if it does not hold: act as where both barriers fail"
    return f"; if it does not hold: {_uses(fallback)}"


def _uses(fallback: model.Fallback) -> str:
    words = []
    for use in fallback.use:
        where = f"main {use.main_id} at {use.chainage_m:.2f} m"
        if use.prepared_id:
            words.append(f"set {use.prepared_id} on {where}")
        elif use.valve_id:
            words.append(f"shut valve {use.valve_id} on {where}")
        else:
            words.append(f"fallback {use.method} on {where}, where nothing is prepared")
    return " and ".join(words)


def _all_fail(
    case: LossCase, stop: model.Stop, barriers: tuple[model.OrderItem, ...]
) -> Iterator[model.LossRow]:
    """Yield both states of a stop lost altogether: through the zone's vents, and out of the open end."""
    both = "both barriers" if len(barriers) == 2 else f"the {stop.kind}"
    names = tuple(one.id for one in barriers)
    what = f"{both} of {stop.id} {'fail' if len(barriers) == 2 else _FAILS[stop.kind]}"
    through = f"zone vents {stop.id}"
    is_drawn = through in case.openings
    found = case.network.after((through,)) if is_drawn else None
    vents = zone_vents_of(case.option, case.items, stop)
    yield case.row(
        BEFORE,
        what,
        f"shut {', '.join(vent.id for vent in vents) or 'every vent of the zone'}: the main is not cut "
        f"yet; do not cut, plan again",
        Who.STOPS,
        items=names,
        act_on=tuple(vent.id for vent in vents),
        at=case.at_stop(stop),
        found=found,
        was_solved=is_drawn,
        note="with air in the zone: leave, shut no vent, follow the emergency procedure",
        escapes=True,
    )
    end = case.network.after((f"end {stop.id}",))
    yield _open_end(case, stop, what, names, end)


def _open_end(
    case: LossCase, stop: model.Stop, what: str, names: tuple[str, ...], end: LossState | None
) -> model.LossRow:
    """Return the row of the cut end open at 0 mbar gauge."""
    control = _control(case, stop)
    return case.row(
        CUT,
        what,
        control.words,
        control.who,
        items=names,
        act_on=control.act_on,
        at=control.at,
        found=end,
        was_solved=True,
        also=control.off,
        minutes=control.minutes,
        note=f"{control.note}; {_AGAIN}" if control.note else _AGAIN,
        escapes=True,
        feeds_again=control.feeds,
    )


def _control(case: LossCase, stop: model.Stop) -> _Control:
    """Return what takes the place of a stop: the live end of its tail's feed, else its fallback."""
    fallback = case.fallback(stop.id, LOST)
    if fallback is None or fallback.minutes is None:
        words = f"no control is planned for {stop.id}: network control shuts its side off where it can"
        off = fallback.standby if fallback is not None else ()
        return _Control(words, (), case.at_stop(stop), Who.CONTROL, None, (), off, "no fallback")
    shut: list[str] = []
    for one in fallback.shut:
        shut += _ends(case, one, both=fallback.tail_lost)
    feeds = tuple(one.feed_id for one in fallback.shut)
    first = f"shut {', then '.join(shut)}" if shut else ""
    if not fallback.use:
        where = fallback.shut[0] if fallback.shut else None
        at = (
            case.at_stop(stop)
            if where is None
            else AtPlace(f"live end of {where.feed_id}", where.main_id, where.chainage_m)
        )
        words = f"{first}: it feeds the trench" if first else "nothing feeds this side now: keep away"
        note = (
            f"the tail is lost: isolate its {len(fallback.standby)} customers" if fallback.tail_lost else ""
        )
        return _Control(words, tuple(shut), at, Who.FEEDS, fallback.minutes, feeds, fallback.standby, note)
    ids = tuple(name for use in fallback.use if (name := use.prepared_id or use.valve_id))
    new = fallback.use[0]
    named = new.prepared_id or new.valve_id or new.method
    at = AtPlace(f"{named}, fallback of {stop.id}", new.main_id, new.chainage_m)
    words = "; ".join(part for part in (first, _uses(fallback)) if part)
    note = "" if fallback.prepared else "add the time for digging and tapping the fallback"
    return _Control(words, (*shut, *ids), at, Who.STOPS, fallback.minutes, feeds, fallback.standby, note)


def _ends(case: LossCase, shut: model.FeedShut, *, both: bool) -> list[str]:
    """Return the valves at which a feed is shut, its live end first; an opened valve is its own."""
    feed = next((one for one in case.option.bypasses if one.id == shut.feed_id), None)
    if feed is None:
        return [shut.feed_id]
    is_from = (feed.from_.main_id, feed.from_.chainage_m) == (shut.main_id, shut.chainage_m)
    order = ("from", "to") if is_from else ("to", "from")
    ends = [case.items.feed_end(feed.id, end) for end in order]
    return [one.id for one in ends if one is not None][: 2 if both else 1]
