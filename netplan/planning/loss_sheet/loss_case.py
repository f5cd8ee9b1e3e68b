"""What the rows of a loss sheet are made from: an option, its items, and its network with openings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from netplan.core.constants import MM_PER_M, PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.network.model import Stations
from netplan.planfile import model
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.failed_network import failure_case
from netplan.planning.feeds_in_use import FeedEnd
from netplan.planning.loss_sheet.loss_network import (
    END,
    OUTLET,
    TORN,
    LossNetwork,
    LossState,
    Opening,
    StopPlace,
)
from netplan.planning.subnetwork_context import SubnetworkContext
from netplan.procedure import OrderItems, Who
from netplan.procedure.order_items import order_items

__all__ = ["BEFORE", "CUT", "GAS_BACK", "STATES", "AtPlace", "LossCase", "WorkState", "loss_case"]

WorkState = Literal["before the cut", "main cut", "gas back in"]
BEFORE: Final = "before the cut"
CUT: Final = "main cut"
GAS_BACK: Final = "gas back in"
STATES: Final[tuple[WorkState, ...]] = (BEFORE, CUT, GAS_BACK)
AT_ONCE_S: Final = 60.0
"""Up to how long gas that is left counts as gone at once: nobody gets to a valve sooner (own) [s]."""
NO_SOLUTION: Final = (
    "pressures cannot be solved then: the supply left cannot meet the demand; every customer in the parts "
    "concerned is counted"
)
NOT_NEAR: Final = "not solved: the network is too large for it"


@dataclass(frozen=True, slots=True)
class AtPlace:
    """Where something is done: in words, and on which main at which chainage [m]."""

    words: str = ""
    main_id: str = ""
    chainage_m: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class LossCase:
    """An option whose parts may fail.

    Parameters
    ----------
    context : PlanningContext
    option : Option
        With its items.
    items : OrderItems
    network : LossNetwork
    openings : mapping of str to Opening
    """

    context: PlanningContext
    option: model.Option
    items: OrderItems
    network: LossNetwork
    openings: Mapping[str, Opening]
    _meters: dict[tuple[str, ...], int] = field(default_factory=dict, repr=False)

    def row(
        self,
        state: WorkState,
        what: str,
        action: str,
        who: Who,
        *,
        items: Sequence[str] = (),
        act_on: Sequence[str] = (),
        at: AtPlace = AtPlace(),
        found: LossState | None = None,
        was_solved: bool = False,
        also: Iterable[str] = (),
        minutes: float | None = None,
        note: str = "",
        barrier_mbar: float | None = None,
        escapes: bool = False,
        is_lowest_said: bool = True,
        feeds_again: Sequence[str] = (),
        leave: bool | None = None,
    ) -> model.LossRow:
        """Return a row without its id.

        Parameters
        ----------
        found : LossState, optional
            What was solved; None with `was_solved` where it was felt too far away.
        also : iterable of str
            Ids of customers who go off besides those found too low.
        escapes : bool
            Whether gas escapes: then the row says how much.
        is_lowest_said : bool
            Whether the row says the least kept meter inlet.
        leave : bool, optional
            Whether everybody leaves first; default wherever the main is cut.
        """
        customers = self.customers(found, also)
        notes = [note] if note else []
        if was_solved and found is None:
            notes.append(NOT_NEAR)
        elif found is not None and not found.is_solved:
            notes.append(NO_SOLUTION)
        figures = found if found is not None and found.is_solved else None
        least = math.nan if figures is None or not is_lowest_said else figures.least_pa_gauge / PA_PER_MBAR
        seconds = math.nan if figures is None else figures.seconds
        flow = math.nan if figures is None or not escapes else figures.flow_m3_per_s_std * SECONDS_PER_HOUR
        return model.LossRow(
            id="",
            what=what,
            items=tuple(items),
            state=state,
            leave=state == CUT if leave is None else leave,
            action=action,
            act_on=tuple(act_on),
            place=at.words,
            main_id=at.main_id,
            chainage_m=at.chainage_m,
            who=who,
            customers=customers,
            meters=self.meters(customers),
            flow_m3h=_number(flow),
            least_mbar=_number(least),
            barrier_mbar=None if figures is None or barrier_mbar is None else _number(barrier_mbar),
            seconds=_number(seconds),
            at_once=bool(customers) and not seconds > AT_ONCE_S,
            minutes=minutes,
            solved=figures is not None,
            note="; ".join(notes),
            meters_first=customers,
            feeds_again=tuple(feeds_again),
        )

    @property
    def stations(self) -> Stations:
        """All stations of the network, also those beyond the part that is planned in."""
        context = self.context
        whole = context.whole if isinstance(context, SubnetworkContext) else context
        return whole.request.network.stations

    def customers(self, found: LossState | None, also: Iterable[str] = ()) -> tuple[str, ...]:
        """Return the ids of all who fall too low, rise too high, or go off besides; those off left out."""
        off = {one.id for one in self.option.customers if one.effect == "off"}
        names = set(also)
        if found is not None:
            names |= {*found.low, *found.high}
        return tuple(sorted(names - off))

    def meters(self, customers: Sequence[str]) -> int:
        """Return how many meters some customers have."""
        if not customers:
            return 0
        key = tuple(customers)
        if key not in self._meters:
            every = self.context.scope.all_customers
            is_named = pc.is_in(every.id.arrow, value_set=pa.array(key))
            self._meters[key] = int(every.meters[np.asarray(is_named, dtype=bool)].sum())
        return self._meters[key]

    def at_stop(self, stop: model.Stop) -> AtPlace:
        """Return where a stop is."""
        words = ", ".join(part for part in (stop.id, stop.hole_id, stop.street) if part)
        return AtPlace(words, stop.main_id, stop.chainage_m)

    def fallback(self, stop: str, failure: str) -> model.Fallback | None:
        """Return the fallback of a stop for a failure."""
        return next(
            (one for one in self.option.fallback if (one.stop_id, one.failure) == (stop, failure)), None
        )


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None


def loss_case(context: PlanningContext, priced: EvaluatedOption, option: model.Option) -> LossCase:
    """Return an option as a case of things that may fail.

    Parameters
    ----------
    context, priced
    option : Option
        As it stands in the plan.
    """
    items = order_items(option)
    stops = [
        StopPlace(None, stop.live_node)
        if stop.valve >= 0
        else StopPlace(FeedEnd(stop.piece, stop.pipe, stop.chainage_m))
        for stop in priced.cut.stops
    ]
    openings = dict(_openings(option, items))
    network = LossNetwork(failure_case(context, priced), stops, openings)
    return LossCase(context, option, items, network, openings)


def _openings(option: model.Option, items: OrderItems) -> Iterator[tuple[str, Opening]]:
    """Yield the openings by name: "end S1", "vent S1", "zone vents S1", "torn B1"."""
    for place, stop in enumerate(option.stops):
        yield f"end {stop.id}", Opening(END, place, stop.bore_mm / MM_PER_M)
        between = next((t.size_mm for t in stop.tappings if t.role == "vent"), 0.0)
        if between > 0.0 and items.vent(stop.id) is not None:
            yield f"vent {stop.id}", Opening(OUTLET, place, between / MM_PER_M)
        sizes = [_outlet_mm(option, vent) for vent in zone_vents_of(option, items, stop)]
        wide = math.sqrt(sum(size * size for size in sizes))
        if wide > 0.0:
            # All vents of the zone stand open: one outlet with the area of all.
            yield f"zone vents {stop.id}", Opening(OUTLET, place, wide / MM_PER_M)
    for feed in option.bypasses:
        # One line tears off its tee on the giving side.
        yield f"torn {feed.id}", Opening(TORN, feed.id, feed.bore_mm / MM_PER_M)


def zone_vents_of(option: model.Option, items: OrderItems, stop: model.Stop) -> tuple[model.OrderItem, ...]:
    """Return the vents of the zone that a stop bounds."""
    vents = items.zone_vents()
    zones = [{pipe.pipe_id for pipe in zone.pipes} for zone in option.zones]
    mains = set().union(*(zone for zone in zones if stop.main_id in zone))
    own = tuple(vent for vent in vents if vent.main_id in mains or vent.of == stop.id)
    return own or vents


def _outlet_mm(option: model.Option, vent: model.OrderItem) -> float:
    """Return the nominal size of the outlet a vent stands on [mm]; 0 where it has none."""
    point = next((one for one in option.purge.points if one.id == vent.of), None)
    if point is not None and point.outlet_mm:
        return point.outlet_mm
    sizes = [t.size_mm for stop in option.stops for t in stop.tappings if t.id and t.id == vent.tapping_id]
    return sizes[0] if sizes else 0.0
