"""One option of a plan on the raw layers: its places, its states, and what deviates."""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from tests.whole_plan.walk import Network, Raw, State

__all__ = ["Case", "Deviation", "Moment"]

Key = Hashable
INSIDE_M = 1e-4
Row = dict[str, Any]


@dataclass(frozen=True)
class Deviation:
    """A rule that an option or a file breaks, in one line."""

    rule: str
    rank: int
    what: str

    def __str__(self) -> str:
        return f"option {self.rank}: {self.rule}: {self.what}"


@dataclass(frozen=True)
class Moment:
    """A state of the work: which gaps are shut, which valves opened, which hoses laid.

    `stops` are the stops in place, as (id, method, gap).
    """

    name: str
    state: State
    stops: tuple[tuple[str, str, Key], ...] = ()
    fallback: int = -1


@dataclass
class Case:
    """An option read from plan.json, with its places on the raw network."""

    raw: Raw
    plan: Row
    option: Row
    own_supply: tuple[str, ...] = ()
    found: list[Deviation] = field(default_factory=list)

    def __post_init__(self) -> None:
        work = [(w["main_id"], w["from_m"], w["to_m"]) for w in self.plan["work"]]
        net = self.net = Network(self.raw, work)
        for stop in self.option["stops"]:
            if stop["valve_id"] is None:
                net.barrier(stop["main_id"], stop["chainage_m"], ("stop", stop["id"]), stop["work_side"])
            for k, tap in enumerate(stop["tappings"]):
                net.place(tap["main_id"] or stop["main_id"], tap["chainage_m"], ("tap", stop["id"], k))
        for feed in self.option["bypasses"]:
            ends = [
                net.place(feed[end]["main_id"], feed[end]["chainage_m"], ("end", feed["id"], end))
                for end in ("from", "to")
            ]
            net.link(ends[0], ends[1], ("feed", feed["id"]))
        for k, row in enumerate(self.option["fallback"]):
            for i, use in enumerate(row["use"]):
                if use["valve_id"] is None:
                    # Its work side is not said: at the end of a main it is taken to be on that main.
                    most = self.raw.length_of(use["main_id"]) - INSIDE_M
                    at = min(max(use["chainage_m"], INSIDE_M), most)
                    net.barrier(use["main_id"], at, ("use", k, i))
            for j, move in enumerate(row["moves"]):
                to = net.place(move["to"]["main_id"], move["to"]["chainage_m"], ("moved", k, j))
                for end in ("from", "to"):
                    net.link(to, ("end", move["feed_id"], end), ("moved", k, j, end))
        net.finish()

    @property
    def rules(self) -> Row:
        """The rules of the plan."""
        rules: Row = self.plan["rules"]
        return rules

    @property
    def rank(self) -> int:
        """Rank of the option."""
        return int(self.option["rank"])

    def say(self, rule: str, what: str) -> None:
        """Put a deviation on record."""
        self.found.append(Deviation(rule, self.rank, what))

    def require(self, holds: bool, rule: str, what: str) -> None:
        """Put a deviation on record where a rule does not hold."""
        if not holds:
            self.say(rule, what)

    def method(self, name: str) -> Row:
        """Return the rules of a stop method."""
        return next(m for m in self.rules["method"] if m["name"] == name)

    def gap(self, stop: Row) -> Key:
        """Return the gap of a stop."""
        return ("valve", stop["valve_id"]) if stop["valve_id"] is not None else ("stop", stop["id"])

    def live_node(self, stop: Row) -> Key:
        """Return the node at the stop's gap on the side away from the work."""
        return self.net.gaps[self.gap(stop)][1 if stop["work_side"] == "from" else 0]

    @cached_property
    def stops(self) -> tuple[tuple[str, str, Key], ...]:
        """The stops, in the order that the states say they go in."""
        by_id = {s["id"]: s for s in self.option["stops"]}
        order = [s["after_step"].split()[0] for s in self.option["states"] if s["after_step"].endswith(" in")]
        order = [name for name in order if name in by_id]
        order += [name for name in by_id if name not in order]
        return tuple((n, by_id[n]["method"], self.gap(by_id[n])) for n in order)

    @cached_property
    def feeds(self) -> tuple[Key, ...]:
        """The hoses."""
        return tuple(("feed", feed["id"]) for feed in self.option["bypasses"])

    @cached_property
    def opened(self) -> tuple[Key, ...]:
        """The valves opened for the work."""
        return tuple(("valve", v["valve_id"]) for v in self.option["opened_valves"])

    @cached_property
    def before(self) -> State:
        """Normal running, no stops."""
        return self.net.state()

    @cached_property
    def stopped(self) -> State:
        """All stops in and no feed."""
        return self.net.state(shut=[gap for *_, gap in self.stops])

    @cached_property
    def after(self) -> State:
        """All stops in, all feeds open."""
        return self.net.state([gap for *_, gap in self.stops], self.opened, self.feeds)

    def fallback_stops(self, k: int) -> tuple[tuple[str, str, Key], ...]:
        """Return what is shut when a fallback is used: the other stops and the new ones."""
        row = self.option["fallback"][k]
        kept = [stop for stop in self.stops if stop[0] != row["stop_id"]]
        new = [
            (
                f"{row['stop_id']} fallback",
                use["method"],
                ("use", k, i) if use["valve_id"] is None else ("valve", use["valve_id"]),
            )
            for i, use in enumerate(row["use"])
        ]
        return (*kept, *new)

    def surviving(self, shut: Collection[Key]) -> tuple[tuple[Key, ...], tuple[Key, ...]]:
        """Return the hoses and opened valves whose ends lie outside the zone of a state."""
        plain = self.net.state(shut=shut)
        feeds = [key for key in self.feeds if not any(plain.in_zone(n) for n in self.net.links[key])]
        valves = [key for key in self.opened if not any(plain.in_zone(n) for n in self.net.gaps[key])]
        return tuple(feeds), tuple(valves)

    def moved_link(self, k: int, j: int) -> Key:
        """Return the link of a hose that is moved: from its new tee to that of its ends that stays."""
        feed = self.option["fallback"][k]["moves"][j]["feed_id"]
        plain = self.net.state(shut=[gap for *_, gap in self.fallback_stops(k)])
        stays = [end for end in ("from", "to") if not plain.in_zone(("end", feed, end))]
        return ("moved", k, j, stays[0])

    def fallback_state(self, k: int) -> State:
        """Return the state in which a fallback is used; hoses that end in its zone are lost.

        Where no stop is used a part is given up, and only the feeds that the plan shuts are lost: it ends where
        valves recorded closed part it from others.
        """
        shut = [gap for *_, gap in self.fallback_stops(k)]
        row = self.option["fallback"][k]
        if not row["use"]:
            gone = {one["feed_id"] for one in row["shut"]}
            feeds = tuple(key for key in self.feeds if _ident(key) not in gone)
            valves = tuple(key for key in self.opened if _ident(key) not in gone)
        else:
            feeds, valves = self.surviving(shut)
        return self.net.state(shut, valves, feeds)

    @cached_property
    def moments(self) -> tuple[Moment, ...]:
        """Every state of the work but normal running: feeds opened, stops set one by one, fallbacks used."""
        return tuple(self._moments())

    def _moments(self) -> Iterator[Moment]:
        for count in range(1, len(self.feeds) + len(self.opened) + 1):
            both = [*self.feeds, *self.opened][:count]
            laid = [key for key in both if key in self.net.links]
            yield Moment(
                f"feed {both[-1]} open", self.net.state((), [k for k in both if k not in laid], laid)
            )
        for count in range(1, len(self.stops) + 1):
            shut = self.stops[:count]
            state = self.net.state([gap for *_, gap in shut], self.opened, self.feeds)
            yield Moment(f"{shut[-1][0]} in", state, shut)
        for k, row in enumerate(self.option["fallback"]):
            if row["use"]:
                name = f"fallback of {row['stop_id']} ({row['failure']})"
                yield Moment(name, self.fallback_state(k), self.fallback_stops(k), k)


def _ident(key: Key) -> str:
    """Return the id of a feed or valve of its key."""
    return str(key[1]) if isinstance(key, tuple) else str(key)
