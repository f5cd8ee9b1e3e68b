"""Every state of the work, solved: feeds opened, meters off, then one stop after the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from netplan.bypass import Inlets
from netplan.constants import PA_PER_MBAR
from netplan.hydraulics import FlowSolver, FlowState
from netplan.plan.naming import feed_open_state, stop_id, stop_in_state

__all__ = ["FeedLinks", "Judged", "WorkStates", "judge", "work_states"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ROUNDING_PA = 1e-6
"""What solving to rounding may cost a pressure [Pa]."""


@dataclass(frozen=True, slots=True)
class FeedLinks:
    """A feed as links of the flow network: its hoses, or the valve that is opened."""

    name: str
    hoses: tuple[int, ...] = ()
    valves: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """One solved state and its worst kept inlet.

    Parameters
    ----------
    name : str
        After which step, in words.
    state : FlowState
    worst : int
        Row of the inlet that is nearest its limit; -1 without inlets.
    node : int
        Node of that inlet; -1 without inlets.
    least_pa_gauge : float
        Its pressure [Pa gauge]; NaN without gas.
    holds : bool
    """

    name: str
    state: FlowState
    worst: int
    node: int
    least_pa_gauge: float
    holds: bool

    def reason(self) -> str:
        """Say why it does not hold, in one line."""
        if np.isnan(self.least_pa_gauge):
            return f"{self.name}: a kept meter inlet has no gas"
        return f"{self.name}: a kept meter inlet has {self.least_pa_gauge / PA_PER_MBAR:.2f} mbar"


@dataclass(frozen=True, slots=True, eq=False)
class WorkStates:
    """States in the order of the work.

    Parameters
    ----------
    order : tuple of int
        Stops in the order they go in: lightest flow first, ties by number.
    states : tuple of Judged
        Each feed opened, meters off, then after each stop.
    """

    order: tuple[int, ...]
    states: tuple[Judged, ...]

    @property
    def failing(self) -> Judged | None:
        """The first state that does not hold."""
        return next((judged for judged in self.states if not judged.holds), None)


def judge(name: str, state: FlowState, inlets: Inlets) -> Judged:
    """Judge a solved state by the inlet nearest its limit; an inlet without gas is the worst."""
    if not len(inlets):
        return Judged(name, state, -1, -1, float("nan"), holds=True)
    pressure = state.pressure_pa_gauge[inlets.node]
    excess = np.where(np.isnan(pressure), -np.inf, pressure - inlets.required_pa_gauge)
    worst = int(np.argmin(excess))
    at = int(inlets.node[worst])
    return Judged(name, state, worst, at, float(pressure[worst]), holds=bool(excess[worst] >= -ROUNDING_PA))


def work_states(
    solver: FlowSolver,
    inlets: Inlets,
    closing: Sequence[int],
    *,
    meters_on_m3_per_s_std: Floats,
    meters_off_m3_per_s_std: Floats,
    feeds: Sequence[FeedLinks] = (),
) -> WorkStates:
    """Solve the states of the work: each feed opened, meters off, then one stop after the other.

    Parameters
    ----------
    solver : FlowSolver
        Network with the hoses in and no stop closed.
    inlets : Inlets
        Meter inlets that must hold in every state.
    closing : sequence of int
        For each stop the link that closes it.
    meters_on_m3_per_s_std, meters_off_m3_per_s_std : float arrays, shape (nodes,)
        Demand before and after the customers off are turned off [m³/s at 15 °C, 101.325 kPa].
    feeds : sequence of FeedLinks
        In the order they are opened.
    """
    waiting = {link for feed in feeds for link in feed.hoses}
    opened: list[int] = []
    states: list[Judged] = []
    state: FlowState | None = None

    def add(name: str, demand: Floats, shut: Sequence[int]) -> FlowState:
        solved = solver.resolve(
            demand_m3_per_s_std=demand, closed_links=[*waiting, *shut], opened_links=opened, warm=state
        )
        states.append(judge(name, solved, inlets))
        return solved

    for feed in feeds:
        waiting -= set(feed.hoses)
        opened.extend(feed.valves)
        state = add(feed_open_state(feed.name), meters_on_m3_per_s_std, ())
    state = add("meters off", meters_off_m3_per_s_std, ())
    through = np.abs(np.nan_to_num(state.flow_m3_per_s_std[list(closing)]))
    # Rounding makes equal flows equal, so that the order does not hang on the last bit.
    order = tuple(int(i) for i in np.argsort(np.round(through, 9), kind="stable"))
    shut: list[int] = []
    for stop in order:
        shut.append(closing[stop])
        state = add(stop_in_state(stop_id(stop)), meters_off_m3_per_s_std, shut)
    return WorkStates(order, tuple(states))
