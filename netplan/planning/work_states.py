"""Every state of the work, solved: feeds opened, meters off, then one stop after the other."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from netplan.core.arrays import Floats
from netplan.core.constants import PA_PER_MBAR
from netplan.core.units import rounded_down, rounded_up
from netplan.feeds import Draw, Inlets
from netplan.hydraulics import FlowState, NetworkSolver
from netplan.planfile.naming import feed_open_state, purge_state, stop_id, stop_in_state

__all__ = ["FeedLinks", "SolvedWorkState", "Tapped", "WorkStates", "judge", "work_states"]


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
    """

    name: str
    states: tuple[FlowState, ...]
    hour: int
    worst: int
    node: int
    least_pa_gauge: float
    holds: bool
    too_high_pa_gauge: float = float("nan")

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
    """

    order: tuple[int, ...]
    states: tuple[SolvedWorkState, ...]
    purging: tuple[SolvedWorkState, ...] = ()

    @property
    def failing(self) -> SolvedWorkState | None:
        """The first state that does not hold."""
        return next((judged for judged in (*self.states, *self.purging) if not judged.holds), None)


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
    """Solve the states of the work: each feed opened, meters off, one stop after the other, purged in.

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
        In the order they are opened.
    purges : sequence of sequence of Tapped
        For each zone where gas may be let in for its purge: the first place that holds is taken.
    """
    waiting = {link for feed in feeds for link in feed.hoses}
    opened: list[int] = []
    states: list[SolvedWorkState] = []
    shut: list[int] = []
    warm: tuple[FlowState, ...] | tuple[None] = (None,)

    def solved(name: str, demands: Sequence[Floats]) -> SolvedWorkState:
        found: list[FlowState] = []
        for k, demand in enumerate(demands):
            start = warm[k] if k < len(warm) else found[-1]
            closed = [*waiting, *shut]
            found.append(
                solver.resolve(
                    demand_m3_per_s_std=demand, closed_links=closed, opened_links=opened, warm=start
                )
            )
        return judge(name, found, inlets)

    for feed in feeds:
        waiting -= set(feed.hoses)
        opened.extend(feed.valves)
        states.append(solved(feed_open_state(feed.name), meters_on_m3_per_s_std))
        warm = states[-1].states
    states.append(solved("meters off", meters_off_m3_per_s_std))
    warm = states[-1].states
    through = np.abs(np.nan_to_num(states[-1].state.flow_m3_per_s_std[list(closing)]))
    # Rounding makes equal flows equal, so that the order does not hang on the last bit.
    order = tuple(int(i) for i in np.argsort(np.round(through, 9), kind="stable"))
    for stop in order:
        shut.append(closing[stop])
        states.append(solved(stop_in_state(stop_id(stop)), meters_off_m3_per_s_std))
        warm = states[-1].states
    purging = [
        _first_that_holds(
            solved(purge_state(stop_id(tap.stop)), [tap.draw.on(one) for one in meters_off_m3_per_s_std])
            for tap in taps
        )
        for taps in purges
    ]
    return WorkStates(order, tuple(states), tuple(purging))


def _first_that_holds(places: Iterable[SolvedWorkState]) -> SolvedWorkState:
    """Return the first place that holds, else the one with the most pressure left."""
    failing: list[SolvedWorkState] = []
    for judged in places:
        if judged.holds:
            return judged
        failing.append(judged)
    return max(failing, key=lambda judged: np.nan_to_num(judged.least_pa_gauge, nan=-np.inf))
