"""What the order is made from: one option, its conditions and the rules; places and fallbacks in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

from netplan.core.errors import BadInputError
from netplan.customers import relight_order as order_to_relight
from netplan.planfile.model import (
    AffectedCustomer,
    Bypass,
    Conditions,
    Excavation,
    Fallback,
    FallbackUse,
    FeedMove,
    FeedShut,
    Option,
    PurgePoint,
    State,
    Stop,
    WorkItem,
)
from netplan.planfile.naming import METERS_OFF_STATE, feed_open_state, stop_in_state
from netplan.procedure.order_items import OrderItems, order_items
from netplan.rules import Rules

__all__ = [
    "METERS_OFF_STATE",
    "OrderCase",
    "fallback_words",
    "feed_open_state",
    "order_case",
    "standby_words",
    "stop_in_state",
]


Place = Callable[[str, float], str]
LOST = "lost during open work"


@dataclass(frozen=True)
class OrderCase:
    """One option as the order sees it.

    Parameters
    ----------
    option : Option
        With everything but its steps.
    conditions : Conditions
    rules : Rules
    work : tuple of WorkItem
    stops : tuple of Stop
        In the order in which they are set.
    relit : tuple of AffectedCustomer
        Customers that are off, in the order in which they are relit.
    """

    option: Option
    conditions: Conditions
    rules: Rules
    work: tuple[WorkItem, ...]
    stops: tuple[Stop, ...]
    relit: tuple[AffectedCustomer, ...]

    @cached_property
    def items(self) -> OrderItems:
        """The items that the steps change, looked up by what they are for."""
        return order_items(self.option)

    @cached_property
    def holes(self) -> dict[str, tuple[Stop, ...]]:
        """Stops in each hole, holes in their natural order of setting."""
        holes: dict[str, tuple[Stop, ...]] = {}
        for stop in self.stops:
            if stop.hole_id:
                holes[stop.hole_id] = (*holes.get(stop.hole_id, ()), stop)
        return holes

    @cached_property
    def without_stop(self) -> tuple[Excavation, ...]:
        """Excavations that no stop is in."""
        return tuple(one for one in self.option.excavations if one.id not in self.holes)

    def holes_of(self, what: str, ident: str) -> tuple[str, ...]:
        """Return the ids of the excavations that serve a thing, such as the bypass B1."""
        return tuple(
            one.id
            for one in self.option.excavations
            if any(served.what == what and served.id == ident for served in one.serves)
        )

    def holes_of_feed(self, bypass: Bypass) -> tuple[str, ...]:
        """Return the ids of the excavations its tees are in; earlier plans call every hose a bypass."""
        return self.holes_of(bypass.kind, bypass.id) or self.holes_of("bypass", bypass.id)

    def excavation(self, hole: str) -> Excavation | None:
        """Return the excavation of an id; None in a plan that lists none."""
        return next((one for one in self.option.excavations if one.id == hole), None)

    @cached_property
    def states(self) -> dict[str, State]:
        """Solved states by what they come after."""
        return {state.after_step: state for state in self.option.states}

    @property
    def before_stops(self) -> State | None:
        """The solved state right before the first stop goes in."""
        return self.states.get(METERS_OFF_STATE)

    @property
    def carrying(self) -> tuple[str, ...]:
        """Ids of the stations that give gas once all stops are in, ascending; all without that state."""
        last = self.states.get(stop_in_state(self.stops[-1].id)) if self.stops else None
        shut = set(self.option.shut_in)
        if last is None:
            every = {key for state in self.option.states for key in state.station_flows_m3h}
        else:
            every = {key for key, flow in last.station_flows_m3h.items() if flow > 0.0}
        return tuple(sorted(every - shut))

    @property
    def gauge_ids(self) -> tuple[str, ...]:
        """Ids of the gauges."""
        return tuple(gauge.id for gauge in self.option.gauges)

    def while_watched(self, words: str = " while the gauges are watched") -> str:
        """Return words on the gauges; nothing where the option has none."""
        return words if self.option.gauges else ""

    @property
    def off_ids(self) -> tuple[str, ...]:
        """Ids of the customers that go off, in the order of the plan."""
        return tuple(customer.id for customer in self.option.customers if customer.effect == "off")

    @property
    def off_meters(self) -> int:
        """Meters that go off."""
        return sum(max(c.meters, 1) for c in self.option.customers if c.effect == "off")

    @property
    def feed_ids(self) -> tuple[str, ...]:
        """Ids of bypasses, hoses and opened valves."""
        opened = tuple(valve.valve_id for valve in self.option.opened_valves)
        return (*(bypass.id for bypass in self.option.bypasses), *opened)

    def vents(self) -> tuple[PurgePoint, ...]:
        """Return the purge points that let out, in their order."""
        points = [point for point in self.option.purge.points if point.role == "vent"]
        return tuple(sorted(points, key=lambda point: (point.order, point.id)))

    def inlets(self) -> tuple[PurgePoint, ...]:
        """Return the purge points that let in."""
        return tuple(point for point in self.option.purge.points if point.role == "feed")

    def end_point(self, kind: str, *, within: str = "", without: str = "") -> str:
        """Return the end points of a kind (``out`` or ``in``) as one text, without their prefix.

        Of those only the ones that name `within`, and none that names `without`.
        """
        mark = f"{kind}:"
        found = [text[len(mark) :].strip() for text in self.option.purge.end_points if text.startswith(mark)]
        return "; ".join(text for text in found if within in text and not (without and without in text))

    def is_trial_solved(self, stop: Stop) -> bool:
        """Return whether the state with this stop alone in, everybody on and no feed open, is solved."""
        return (
            bool(self.stops)
            and stop.id == self.stops[0].id
            and stop_in_state(stop.id) in self.states
            and not (self.feed_ids or self.off_ids or stop.shuts_in)
        )

    def fallback(self, stop_id: str, failure: str) -> Fallback | None:
        """Return the fallback of a stop for one kind of failure."""
        for fallback in self.option.fallback:
            if fallback.stop_id == stop_id and fallback.failure == failure:
                return fallback
        return None


def place_words(stop: Stop) -> str:
    """Return where a stop is, in words without figures that carry a unit."""
    street = f", {stop.street}" if stop.street else ""
    return f"main {stop.main_id}{street}"


def order_case(
    option: Option,
    conditions: Conditions,
    rules: Rules,
    work: Sequence[WorkItem],
    set_order: Sequence[str] | None,
    relight_order: Sequence[str] | None,
) -> OrderCase:
    """Return the case, its stops and customers in order.

    Raises
    ------
    BadInputError
        When an order names something else than the option's own stops or its customers that are off.
    """
    stops = {stop.id: stop for stop in option.stops}
    off = {customer.id: customer for customer in option.customers if customer.effect == "off"}
    to_set = tuple(set_order) if set_order is not None else _solved_order(option)
    to_relight = (
        tuple(relight_order) if relight_order is not None else _relight_ids(tuple(off.values()), rules)
    )
    for name, wanted, known in (("stops", to_set, stops), ("customers off", to_relight, off)):
        if len(wanted) != len(known) or set(wanted) != set(known):
            raise BadInputError(f"steps: the order of {name} is not that of the option; give each id once")
    return OrderCase(
        option=option,
        conditions=conditions,
        rules=rules,
        work=tuple(work),
        stops=tuple(stops[key] for key in to_set),
        relit=tuple(off[key] for key in to_relight),
    )


def _solved_order(option: Option) -> tuple[str, ...]:
    """Return the stops in the order of their solved states; as listed where a state is missing."""
    listed = tuple(stop.id for stop in option.stops)
    place = {state.after_step: k for k, state in enumerate(option.states)}
    if all(stop_in_state(key) in place for key in listed):
        return tuple(sorted(listed, key=lambda key: place[stop_in_state(key)]))
    return listed


def _relight_ids(off: tuple[AffectedCustomer, ...], rules: Rules) -> tuple[str, ...]:
    """Return the order of the plan, which promised times follow; by address for a plan that gives none."""
    if all(customer.relit is not None for customer in off):
        return tuple(customer.id for customer in sorted(off, key=lambda one: one.relit or 0))
    ids, blank = [c.id for c in off], [""] * len(off)
    price = [getattr(rules.price.off_per_hour, c.category) for c in off]
    queue = order_to_relight(
        ids,
        [c.address for c in off],
        blank,
        blank,
        blank,
        [c.priority for c in off],
        [c.meters for c in off],
        price,
    )
    return tuple(ids[row] for row in queue.order)


def _on_main(main_id: str, _chainage_m: float) -> str:
    """Name a place without a figure that carries a unit."""
    return f"main {main_id}"


def _shut(one: FeedShut, place: Place, *, live_end: bool) -> str:
    if one.what == "opened valve":
        return f"shut valve {one.feed_id} again"
    end = "live end" if live_end else "end"
    return f"shut {one.what} {one.feed_id} at its {end} on {place(one.main_id, one.chainage_m)}"


def _use(one: FallbackUse, place: Place) -> str:
    name = f"{one.prepared_id} " if one.prepared_id else ""
    where = f"{one.method} on {place(one.main_id, one.chainage_m)}"
    return f"{name}valve {one.valve_id}" if one.valve_id else f"{name}{where}"


def _readiness(fallback: Fallback) -> str:
    """Return what the minutes of a fallback leave out; empty where every stop is prepared."""
    if fallback.prepared or not fallback.use:
        return ""
    dug = [one for one in fallback.use if not (one.valve_id or one.prepared_id)]
    return "not prepared: add the time for digging and tapping" if dug else "not prepared"


def _move(one: FeedMove, place: Place) -> str:
    return (
        f"then couple {one.what} {one.feed_id} at the bypass tee on "
        f"{place(one.to.main_id, one.to.chainage_m)} instead, {one.minutes:.0f} min more: "
        f"{len(one.off_meanwhile)} of those on standby are off until then"
    )


def standby_words(fallback: Fallback) -> str:
    """Return who goes off then; empty for nobody."""
    count = len(fallback.standby)
    if not count:
        return ""
    who = f"{count} customer{'s' * (count != 1)}"
    if fallback.failure == LOST:
        lose, meters = ("loses", "the meter") if count == 1 else ("lose", "their meters")
        return f"{who} on standby {lose} gas at once: isolate {meters} before gas goes back"
    return f"turn off {who} on standby first"


def fallback_words(fallback: Fallback | None, place: Place = _on_main, *, with_stations: bool = True) -> str:
    """Return what to do when a stop fails.

    Parameters
    ----------
    fallback : Fallback or None
        None: nothing was planned.
    place : callable
        Returns a main and a chainage [m] as words; by default the main alone.
    with_stations : bool
        Whether to say what it does to stations; False where the note is printed as a whole.
    """
    if fallback is None:
        return "no fallback is planned for it: stand down and plan again"
    if fallback.minutes is None:
        why = fallback.note.removeprefix("no fallback: ")
        # With the main cut nobody stands down: all have left, and network control is what is left.
        last = (
            "network control shuts this side off" if fallback.failure == LOST else "stand down and plan again"
        )
        return f"no fallback is planned for it ({why}): {last}"
    acts = [_shut(one, place, live_end=fallback.tail_lost) for one in fallback.shut]
    if fallback.use:
        acts.append(f"fallback {', '.join(_use(one, place) for one in fallback.use)}")
    words = f"{', then '.join(acts)}, {fallback.minutes:.0f} min" if acts else ""
    more = ""
    if fallback.tail_lost:
        more = "tail is lost: isolate, purge and relight all of it"
    elif not fallback.use:
        beyond = "tail is lost: it" if fallback.shut else "what lies beyond"
        more = f"{beyond} goes off with the zone, because there is no stop beyond it"
    moves = [_move(one, place) for one in fallback.moves]
    stations = [part for part in fallback.note.split("; ") if with_stations and part.startswith("station ")]
    parts = (words, _readiness(fallback), more, standby_words(fallback), *moves, *stations)
    return "; ".join(part for part in parts if part)
