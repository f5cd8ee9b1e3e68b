"""Every state of the work, solved: feeds opened, meters off, stops in, gas back in, stops out, feeds shut."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from netplan.core.arrays import Floats
from netplan.core.constants import PA_PER_MBAR
from netplan.core.units import rounded_down, rounded_up
from netplan.feeds import Draw, Inlets
from netplan.hydraulics import FlowState, NetworkSolver
from netplan.planfile.naming import (
    METERS_OFF_STATE,
    feed_open_state,
    feed_shut_state,
    purge_state,
    stop_id,
    stop_in_state,
    stop_out_state,
)
from netplan.planning.tapped_draw import DrawPlace

__all__ = [
    "FeedLinks",
    "SolvedWorkState",
    "StateChanges",
    "Tapped",
    "WorkStates",
    "judge",
    "work_states",
]


ROUNDING_PA = 1e-6
"""What solving to rounding may cost a pressure [Pa]."""


@dataclass(frozen=True, slots=True)
class FeedLinks:
    """A feed as links of the flow network: its hoses, or the valve that is opened."""

    name: str
    hoses: tuple[int, ...] = ()
    valves: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Tapped:
    """A place where gas is let in for a purge.

    Parameters
    ----------
    stop : int
        Place of the stop in the cut.
    draw : Draw
        What is drawn there, and at which node on its live side.
    """

    stop: int
    draw: Draw


@dataclass(frozen=True, slots=True)
class StateChanges:
    """What a state of the work changes in the network with every hose in and no stop closed.

    Parameters
    ----------
    closed, opened : tuple of int
        Links closed and opened.
    meters_on : bool
        Whether the customers that go off still draw.
    draw : Draw, optional
        What is drawn for a purge.
    drawn_at : DrawPlace, optional
        The tapping that it is drawn at; None for the draw's own node.
    """

    closed: tuple[int, ...] = ()
    opened: tuple[int, ...] = ()
    meters_on: bool = False
    draw: Draw | None = None
    drawn_at: DrawPlace | None = None


@dataclass(frozen=True, slots=True, eq=False)
class SolvedWorkState:
    """One solved state and its worst kept inlet.

    Parameters
    ----------
    name : str
        After which step, in words.
    states : tuple of FlowState
        Solved in each hour to check, that of the greatest total first.
    hour : int
        Which of them is the worst.
    worst : int
        Row of the inlet that is nearest its limit in that hour; -1 without inlets.
    node : int
        Node of that inlet; -1 without inlets.
    least_pa_gauge : float
        Its pressure [Pa gauge]; NaN without gas.
    holds : bool
        Whether every inlet holds in every hour, and none has more than it may.
    too_high_pa_gauge : float
        The highest pressure of an inlet that has more than it may [Pa gauge]; NaN without one.
    changes : StateChanges
        What it was solved with.
    """

    name: str
    states: tuple[FlowState, ...]
    hour: int
    worst: int
    node: int
    least_pa_gauge: float
    holds: bool
    too_high_pa_gauge: float = float("nan")
    changes: StateChanges = StateChanges()

    @property
    def state(self) -> FlowState:
        """The state at the hour of the greatest total."""
        return self.states[0]

    def reason(self) -> str:
        """Say why it does not hold, in one line."""
        if np.isnan(self.least_pa_gauge):
            return f"{self.name}: a kept meter inlet has no gas"
        if not np.isnan(self.too_high_pa_gauge):
            high = rounded_up(self.too_high_pa_gauge / PA_PER_MBAR, 2)
            return f"{self.name}: a kept meter inlet has {high:.2f} mbar, more than pressure.maximum_mbar"
        least = rounded_down(self.least_pa_gauge / PA_PER_MBAR, 2)
        return f"{self.name}: a kept meter inlet has {least:.2f} mbar"


@dataclass(frozen=True, slots=True, eq=False)
class WorkStates:
    """States in the order of the work.

    Parameters
    ----------
    order : tuple of int
        Stops in the order they go in: lightest flow first, ties by number.
    states : tuple of SolvedWorkState
        Each feed opened, meters off, then after each stop.
    purging : tuple of SolvedWorkState
        All stops in, and gas let in for a purge; one for each zone that is purged from the live side.
    restoring : tuple of SolvedWorkState
        Gas back in the zone and meters still off: after each stop taken out, the last one set first, then
        after each feed shut, opened valves before hoses.
    """

    order: tuple[int, ...]
    states: tuple[SolvedWorkState, ...]
    purging: tuple[SolvedWorkState, ...] = ()
    restoring: tuple[SolvedWorkState, ...] = ()

    @property
    def every(self) -> tuple[SolvedWorkState, ...]:
        """All states in the order of the work."""
        return (*self.states, *self.purging, *self.restoring)

    @property
    def failing(self) -> SolvedWorkState | None:
        """The first state that does not hold."""
        return next((judged for judged in self.every if not judged.holds), None)


def judge(name: str, states: Sequence[FlowState], inlets: Inlets) -> SolvedWorkState:
    """Judge a state, solved in several hours, by the inlet nearest its limit; none is worse than no gas."""
    if not len(inlets):
        return SolvedWorkState(name, tuple(states), 0, -1, -1, float("nan"), holds=True)
    pressure = np.array([state.pressure_pa_gauge[inlets.node] for state in states])
    excess = np.where(np.isnan(pressure), -np.inf, pressure - inlets.required_pa_gauge)
    hour, worst = divmod(int(np.argmin(excess)), len(inlets))
    high = _too_high(pressure, inlets)
    return SolvedWorkState(
        name,
        tuple(states),
        hour,
        worst,
        int(inlets.node[worst]),
        float(pressure[hour, worst]),
        holds=bool(excess[hour, worst] >= -ROUNDING_PA) and np.isnan(high),
        too_high_pa_gauge=high,
    )


def _too_high(pressure_pa_gauge: Floats, inlets: Inlets) -> float:
    """Return the highest pressure of the inlets that have more than they may [Pa gauge]; NaN without one."""
    if inlets.allowed_pa_gauge is None:
        return float("nan")
    above = pressure_pa_gauge > inlets.allowed_pa_gauge + ROUNDING_PA
    return float(pressure_pa_gauge[above].max()) if above.any() else float("nan")


def work_states(
    solver: NetworkSolver,
    inlets: Inlets,
    closing: Sequence[int],
    *,
    meters_on_m3_per_s_std: Sequence[Floats],
    meters_off_m3_per_s_std: Sequence[Floats],
    feeds: Sequence[FeedLinks] = (),
    purges: Sequence[Sequence[Tapped]] = (),
) -> WorkStates:
    """Solve the states of the work: feeds opened, meters off, stops in, purged in, stops out, feeds shut.

    Stops come out in the reverse of the order in which they went in. By then gas is back in the zone and the
    main is joined, so that each of these states is the one before that stop was set.

    Parameters
    ----------
    solver : NetworkSolver
        Network with the hoses in and no stop closed.
    inlets : Inlets
        Meter inlets that must hold in every state.
    closing : sequence of int
        For each stop the link that closes it.
    meters_on_m3_per_s_std, meters_off_m3_per_s_std : sequences of float arrays, shape (nodes,)
        Demand before and after the customers off are turned off [m³/s at 15 °C, 101.325 kPa], in each hour
        to check.
    feeds : sequence of FeedLinks
        In the order they are opened, hoses before valves; they are shut valves before hoses.
    purges : sequence of sequence of Tapped
        For each zone where gas may be let in for its purge: the first place that holds is taken.
    """
    work = _WorkInProgress(solver, inlets, waiting={link for feed in feeds for link in feed.hoses})
    states: list[SolvedWorkState] = []
    for feed in feeds:
        work.waiting -= set(feed.hoses)
        work.opened += feed.valves
        states.append(work.reached(feed_open_state(feed.name), meters_on_m3_per_s_std, meters_on=True))
    before_stops = work.reached(METERS_OFF_STATE, meters_off_m3_per_s_std)
    through = np.abs(np.nan_to_num(before_stops.state.flow_m3_per_s_std[list(closing)]))
    # Rounding makes equal flows equal, so that the order does not hang on the last bit.
    order = tuple(int(i) for i in np.argsort(np.round(through, 9), kind="stable"))
    setting: list[SolvedWorkState] = []
    for stop in order:
        work.shut.append(closing[stop])
        setting.append(work.reached(stop_in_state(stop_id(stop)), meters_off_m3_per_s_std))
    purging = [
        _first_that_holds(
            work.solved(purge_state(stop_id(tap.stop)), meters_off_m3_per_s_std, draw=tap.draw)
            for tap in taps
        )
        for taps in purges
    ]
    restoring = [
        replace(again, name=stop_out_state(stop_id(stop)))
        for stop, again in zip(order, [before_stops, *setting], strict=False)
    ][::-1]
    work.shut, work.warm = [], before_stops.states
    for feed in sorted(feeds, key=lambda feed: bool(feed.hoses)):
        work.waiting |= set(feed.hoses)
        work.opened = [link for link in work.opened if link not in feed.valves]
        restoring.append(work.reached(feed_shut_state(feed.name), meters_off_m3_per_s_std))
    return WorkStates(order, (*states, before_stops, *setting), tuple(purging), tuple(restoring))


@dataclass(slots=True)
class _WorkInProgress:
    """The network as the work has changed it so far, and the last state as the start of the next solution."""

    solver: NetworkSolver
    inlets: Inlets
    waiting: set[int]
    opened: list[int] = field(default_factory=list)
    shut: list[int] = field(default_factory=list)
    warm: tuple[FlowState, ...] = ()

    def solved(
        self, name: str, demands: Sequence[Floats], *, meters_on: bool = False, draw: Draw | None = None
    ) -> SolvedWorkState:
        """Solve and judge a state in each hour."""
        changes = StateChanges(
            tuple(sorted({*self.waiting, *self.shut})), tuple(self.opened), meters_on, draw
        )
        found: list[FlowState] = []
        for k, demand in enumerate(demands):
            earlier = self.warm[k : k + 1] or found[-1:]
            found.append(
                self.solver.resolve(
                    demand_m3_per_s_std=demand if draw is None else draw.on(demand),
                    closed_links=changes.closed,
                    opened_links=changes.opened,
                    warm=earlier[0] if earlier else None,
                )
            )
        return replace(judge(name, found, self.inlets), changes=changes)

    def reached(self, name: str, demands: Sequence[Floats], *, meters_on: bool = False) -> SolvedWorkState:
        """Solve a state from which the next one starts."""
        judged = self.solved(name, demands, meters_on=meters_on)
        self.warm = judged.states
        return judged


def _first_that_holds(places: Iterable[SolvedWorkState]) -> SolvedWorkState:
    """Return the first place that holds, else the one with the most pressure left."""
    failing: list[SolvedWorkState] = []
    for judged in places:
        if judged.holds:
            return judged
        failing.append(judged)
    return max(failing, key=lambda judged: np.nan_to_num(judged.least_pa_gauge, nan=-np.inf))
