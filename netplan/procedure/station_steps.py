"""Stops beside a regulator station: what is proved of it, and its inlet shut and locked."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.planfile.model import Stop
from netplan.planfile.station_words import has_fallback, inlet_words, is_inlet_barrier
from netplan.procedure.step_case import OrderCase, stop_in_state
from netplan.procedure.step_kinds import Stage, StepDraft, Who, in_state

__all__ = [
    "feeds_purge",
    "prove_station",
    "shut_inlet",
]


def _uses(stop: Stop) -> tuple[str, ...]:
    stations = (one.station_id for one in stop.shuts_in)
    inlets = (one.inlet_valve_id for one in stop.shuts_in)
    return tuple(key for key in (stop.id, stop.valve_id, *stations, *inlets) if key)


def _inlets(stop: Stop) -> str:
    return " and ".join(f"{inlet_words(one)} of station {one.station_id}" for one in stop.shuts_in)


def shut_inlet(case: OrderCase, stop: Stop) -> Iterator[StepDraft]:
    """Yield the outer barrier of a stop beside a station: it goes in before the outlet valve."""
    if not is_inlet_barrier(stop):
        return
    # Nobody hangs on what lies between: the network is the same as with the outlet valve shut.
    state = case.states.get(stop_in_state(stop.id))
    outer = next((one for one in case.items.barriers(stop.id) if one.role == "outer"), None)
    yield StepDraft(
        Stage.INLET_SHUT,
        f"Outer barrier of {stop.id}: shut {_inlets(stop)} slowly{case.while_watched()}.",
        Who.STOPS,
        "At an abort reading: open it again at once. An inlet that does not shut cannot serve as a "
        "barrier: stand down and plan again.",
        uses=(*_uses(stop), *case.gauge_ids),
        hold=True,
        expect_mbar=state.least_mbar if state else None,
        expect_at=state.at if state else "",
        minutes=stop.minutes,
        needs=(
            *in_state("proved", outer),
            *in_state("sealed", *case.items.meters_off()),
            *in_state("accepted", *case.items.every("feed")),
        ),
        changes=(*in_state("set", outer), *in_state("shut", *case.items.station_inlets(stop))),
        reads=case.gauge_ids,
        state=stop_in_state(stop.id),
    )


def feeds_purge(case: OrderCase, stop: Stop) -> bool:
    """Return whether gas for the purge in is taken round a stop: it goes in at its zone vent."""
    vents = [t for t in stop.tappings if t.role == "zone_vent"]
    places = {(t.main_id or stop.main_id, t.chainage_m) for t in vents} or {(stop.main_id, stop.chainage_m)}
    return any((point.main_id, point.chainage_m) in places for point in case.inlets())


def prove_station(case: OrderCase, stop: Stop) -> tuple[str, tuple[str, ...], str]:
    """Return what else is proved of a valve before a station, the ids of it, and what to do if it fails."""
    if not stop.shuts_in:
        return "", (), "A valve that does not shut cannot serve as a stop: use the fallback."
    more = ""
    if is_inlet_barrier(stop):
        more = f"; find {_inlets(stop)}, turn it a little and back, and find the vent of the space between"
    fails = "A valve that does not shut cannot serve as a stop: use the fallback."
    if not has_fallback(stop, case.option.fallback):
        fails = "A valve that does not shut cannot serve as a stop, and this one has no fallback: plan again."
    return more, _uses(stop), fails
