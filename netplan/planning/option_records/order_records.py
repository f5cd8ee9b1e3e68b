"""What is read at each step of the order: every gauge in the step's own state, and the test of a bypass."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from netplan.core.constants import PA_PER_MBAR
from netplan.core.units import rounded_down
from netplan.planfile import model
from netplan.planfile.naming import METERS_OFF_STATE, NORMAL_STATE, stop_in_state
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.final_network import FinalNetwork
from netplan.planning.option_records.feed_tests import feed_tests
from netplan.planning.option_records.gauge_places import GaugePlace, recorded_places
from netplan.planning.option_records.state_readings import (
    ERROR_DIGITS,
    SAME_PA,
    StateReadings,
)
from netplan.planning.option_records.withdrawal_differences import purge_inlets, sides_of_stops
from netplan.procedure import Stage, StepDraft, StepFigures
from netplan.rules import Rules

__all__ = ["OrderRecords", "finer_gauges"]


@dataclass(eq=False)
class OrderRecords:
    """Solved figures of the steps of an option, asked for step by step in their order.

    Parameters
    ----------
    context : PlanningContext
    priced : EvaluatedOption
    final : FinalNetwork
    option : model.Option
        As it stands in the plan, but for its steps.
    by_weather : bool
        Whether readings are solved in milder weather and every hour too.
    """

    context: PlanningContext
    priced: EvaluatedOption
    final: FinalNetwork
    option: model.Option
    by_weather: bool = False
    _now: str = field(default=NORMAL_STATE, init=False)
    _part: dict[str, str] = field(default_factory=dict, init=False)

    def __call__(self, draft: StepDraft) -> StepFigures:
        """Return the figures of the next step."""
        self._follow(draft)
        tested = [item.id for item, state in draft.changes if item.kind == "feed" and state == "accepted"]
        if draft.stage is Stage.FEED_MEASURED:
            tested += draft.uses
        return StepFigures(
            readings=tuple(self._readings(draft)),
            feed_test=next((self._feed_tests[one] for one in tested if one in self._feed_tests), None),
        )

    def _follow(self, draft: StepDraft) -> None:
        """Take in what a step changes: the state of the network and of parts."""
        self._now = draft.state or self._now
        for item, state in draft.changes:
            if item.kind == "part":
                self._part[item.id] = state

    def _readings(self, draft: StepDraft) -> Iterator[model.Reading]:
        for gauge in dict.fromkeys(draft.reads):
            if gauge in self._zone_gauges:
                if draft.purge is not None and draft.purge.medium == "gas":
                    continue  # what is read there hangs on the outlet, not on the network
                found = self._of_zone(self._zone_gauges[gauge])
            elif gauge in self.solved.places and self.solved.knows(self._now):
                found = self.solved.reading(gauge, self._now)
            else:
                continue
            if found is not None:
                yield found

    @cached_property
    def solved(self) -> StateReadings:
        """The states that gauges are read in."""
        places = recorded_places(self.context, self.priced, self.option.gauges)
        return StateReadings(self.context, self.priced, self.final, places, by_weather=self.by_weather)

    @cached_property
    def _feed_tests(self) -> dict[str, model.FeedTest]:
        return feed_tests(self.context, self.priced, self.option.bypasses)

    # On the zone itself.

    @cached_property
    def _zone_gauges(self) -> dict[str, model.ZoneGauge]:
        return {gauge.id: gauge for gauge in self.option.zone_gauges}

    @cached_property
    def _sides(self) -> tuple[list[int], list[int]]:
        return sides_of_stops(self.context, self.priced, self.final)

    def _of_zone(self, gauge: model.ZoneGauge) -> model.Reading | None:
        """Return what the gauge of a zone reads: live pressure while it is shut in, nothing once vented."""
        part = next(one for one in self.option.parts if one.id == gauge.part_id)
        at_mbar = self._zone_mbar(gauge, part)
        if math.isnan(at_mbar):
            return None
        rules = self.context.request.rules
        of_method = {method.name: method.reverse_rating_mbar for method in rules.method}
        # Above it the space between is raised with the zone, and bears the rest.
        reverse = [
            rating
            for stop in self.option.stops
            if stop.id in part.stops and (rating := of_method[stop.method]) is not None and rating >= at_mbar
        ]
        # Where the station is set to the highest pressure the zone stands at it: that bounds nothing.
        highest = rules.pressure.maximum_mbar
        reverse += [highest] if (highest - at_mbar) * PA_PER_MBAR > SAME_PA else []
        high_mbar = min(reverse, default=None)
        error_mbar = rules.gauge.error_mbar
        if high_mbar is not None:
            # Nobody hangs on gas in a zone: the band, twice the error, only has to end below what stops bear.
            rise_mbar = max(high_mbar - at_mbar, 0.0)
            error_mbar = min(error_mbar, rounded_down(rise_mbar / 2.0, ERROR_DIGITS))
        return model.Reading(
            gauge_id=gauge.id,
            expect_mbar=at_mbar,
            band_mbar=2.0 * error_mbar,
            warning_mbar=None,
            abort_mbar=None,
            abort_high_mbar=high_mbar,
            error_mbar=error_mbar,
        )

    def _zone_mbar(self, gauge: model.ZoneGauge, part: model.ZonePart) -> float:
        """Return the pressure at the gauge of a zone [mbar gauge]; NaN where it is not known."""
        state = self._part.get(part.id, "live")
        if state in ("vented", "gas-free", "air"):
            return 0.0
        live, inside = self._sides
        own = [k for k, stop in enumerate(self.option.stops) if stop.id in part.stops]
        place = self._place_in_zone(gauge, own, inside)
        if state == "live" and self._now.endswith(" in"):
            # It was shut in at the pressure it had before the last of its stops went in.
            return self._read(place, self._before_last(own))
        at_mbar = self._read(place, self._now)
        if math.isnan(at_mbar):
            inlets = purge_inlets(self.context, self.priced, self.option.purge.points)
            feeding = [live[k] for k in inlets if k in own]
            at_mbar = self._read(GaugePlace(-1, 0.0, feeding[0]), self._now) if feeding else math.nan
        return at_mbar

    def _read(self, place: GaugePlace, name: str) -> float:
        if not self.solved.knows(name):
            return math.nan
        at_pa = self.solved.pressure_pa_gauge(place, self.solved.state(name), self.solved.changes(name))
        return at_pa / PA_PER_MBAR

    def _place_in_zone(self, gauge: model.ZoneGauge, own: list[int], inside: list[int]) -> GaugePlace:
        pipes = self.context.request.network.pipes
        pipe = pipes.id.find(gauge.main_id, 0, pipes.n_mains)
        return GaugePlace(pipe, gauge.chainage_m, inside[own[-1]] if own else -1)

    def _before_last(self, own: list[int]) -> str:
        """Return the name of the state before the last of some stops goes in."""
        order = list(self.priced.work.order)
        last = max(order.index(k) for k in own)
        return stop_in_state(self.option.stops[order[last - 1]].id) if last else METERS_OFF_STATE


def finer_gauges(steps: Sequence[model.Step], rules: Rules) -> tuple[str, ...]:
    """Return a warning for each gauge that has to be finer than the rules' error, and how fine."""
    least: dict[str, tuple[float, str]] = {}
    for step in steps:
        for reading in step.readings:
            error_mbar = reading.error_mbar
            if error_mbar is not None and error_mbar < rules.gauge.error_mbar:
                known = least.get(reading.gauge_id, (math.inf, ""))
                least[reading.gauge_id] = min(known, (error_mbar, step.state))
    return tuple(
        f"{gauge}: needs a gauge with an error of at most {error:g} mbar ({state}; gauge.error_mbar of the "
        f"rules is {rules.gauge.error_mbar:g})"
        for gauge, (error, state) in sorted(least.items())
    )
