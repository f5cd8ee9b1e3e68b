"""An emergency answer on the terminal: what to shut first, who loses gas, what is in doubt."""

from __future__ import annotations

from collections.abc import Iterator

from netplan.outputs.emergency.word_forms import counted, material_words
from netplan.outputs.number_format import Figures
from netplan.planfile.emergency_answer import EmergencyAnswer, Ring

__all__ = ["summary_lines"]


def summary_lines(answer: EmergencyAnswer, figures: Figures) -> Iterator[str]:
    """Yield the lines of an answer: who governs first, then each ring in the order of shutting."""
    yield answer.governs
    yield from answer.make_safe
    yield ""
    for hit in answer.hits:
        sure = "named" if hit.confirmed else f"{figures.length(hit.distance_m)} from the place given"
        known = hit.set_outlet_mbar is not None
        pressure = (
            f"set outlet {figures.pressure(hit.set_outlet_mbar)}" if known else "pressure not on record"
        )
        pipe = f"{hit.main_id} {material_words(hit.material)} {figures.size(hit.od_mm)}"
        yield f"Hit: main {pipe}, {hit.street}, {sure}; {pressure}"
    if len(answer.hits) > 1:
        yield "Any of these may be the one: all are shut until one is confirmed with --main."
    for service in answer.services:
        curb = (
            f"shut curb valve {service.curb_valve}" if service.curb_valve_usable else "no usable curb valve"
        )
        yield f"Service {service.service_id}: {curb}; {counted(len(service.customers), 'meter point')} on it"
    for ring in answer.rings:
        yield ""
        yield from _ring_lines(ring)
    if answer.doubts:
        yield ""
        yield from (f"In doubt: {line}" for line in answer.doubts)
    if answer.solved is None:
        yield ""
        yield "Pressures: not solved yet."


def _ring_lines(ring: Ring) -> Iterator[str]:
    name = "Valve ring" if ring.kind == "valves" else "Fastest ring"
    if not ring.stops:
        shut = ", ".join(ring.stations_to_shut) or "nothing on record feeds it"
        yield f"{name}: no stop, shut by network control: {shut}; {counted(ring.meters, 'meter')} off"
        yield from (f"  FIRST: {line}" for line in ring.do_first)
        return
    if ring.aim != "least minutes":
        proven = "chosen to keep more meters on"
    elif ring.proof.optimal:
        proven = "proven least recorded minutes"
    else:
        proven = f"best found; at least {ring.proof.lower_bound_min:g} min"
    aim = "" if ring.aim == "least minutes" else ", fewer meters off"
    yield (
        f"{name}{aim}: {counted(len(ring.stops), 'stop')}, {ring.minutes:g} min by "
        f"{counted(ring.crews, 'crew')} ({proven}); {counted(ring.meters, 'meter')} off, "
        f"{len(ring.priority)} priority"
    )
    for line in ring.do_first:
        yield f"  FIRST: {line}"
    for stop in ring.stops:
        yield f"  {stop.n}. {stop.kind}, crew {stop.crew}, shut at {stop.ends_min:g} min: {stop.place}"
