"""How an option's zones are purged, as it stands in a plan."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from netplan.core.constants import MM_PER_M, PA_PER_MBAR, SECONDS_PER_HOUR
from netplan.gas import PurgePlace, PurgePlan
from netplan.network.vocabulary import FittingKind
from netplan.planfile import model
from netplan.planfile.naming import stop_id
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.final_network import FinalNetwork, nodes_shown
from netplan.planning.vents_of_cut_parts import vents_of_cut_parts
from netplan.planning.zone_purges import is_reached

__all__ = ["purge_of"]


_ON_THE_WORK: Final = (
    "on the work section: where it goes out with the old pipe, the new pipe gets an outlet there for the "
    "purge in, before it is tied in"
)
_SAME_PLACE_M = 2e-3
"""Fittings nearer to a place than this stand at it: chainages of a plan are to the millimetre (own) [m]."""


def purge_of(
    context: PlanningContext,
    option: EvaluatedOption,
    final: FinalNetwork,
    plans: Sequence[tuple[PurgePlan, int]],
) -> model.Purge:
    """Return how the zones of an option are purged out of service and back in.

    The draw is solved in the state with all stops in and all feeds open; a draw that takes a kept meter
    inlet below what it must hold counts as one that the network cannot give.
    """
    places = [place for plan, _ in plans for place in plan.places]
    places += vents_of_cut_parts(context, option, final, places)
    return _written(context, plans, places).model_copy(update={"loads": _loads(context, option, final)})


def _loads(
    context: PlanningContext, option: EvaluatedOption, final: FinalNetwork
) -> tuple[model.PurgeLoad, ...]:
    node = nodes_shown(context, final)[0][final.stopped.barrier_node]
    return tuple(
        model.PurgeLoad(
            draw_m3h=draw.flow_m3_per_s_std * SECONDS_PER_HOUR,
            stops=tuple(stop_id(stop) for stop in draw.stops),
            nodes=tuple(int(node[stop]) for stop in draw.stops),
        )
        for draw in option.draws
    )


def _written(
    context: PlanningContext, plans: Sequence[tuple[PurgePlan, int]], places: list[PurgePlace]
) -> model.Purge:
    purge, ids = context.request.rules.purge, context.request.network.pipes.id
    every = [plan for plan, _ in plans]
    known = [plan for plan in every if plan.has_gas]
    blind = sum(lengths for plan, lengths in plans if not plan.has_gas)
    notes = dict.fromkeys(note for plan in every for note in plan.notes)
    if blind:
        notes[
            f"{blind} lengths of main in the zone have no stop with gas behind it: purge them with inert gas."
        ] = None
    return model.Purge(
        volumes_out=purge.volumes_out,
        volumes_in=purge.volumes_in,
        least_velocity_m_s=_most([plan.least_velocity_m_s for plan in known]),
        least_flow_m3h=_times(_most([plan.least_flow_m3_per_s_std for plan in known]), SECONDS_PER_HOUR),
        minutes_out=_sum([plan.minutes_out for plan in known]),
        minutes_in=_sum([plan.minutes_in for plan in known]),
        medium="; ".join(dict.fromkeys(plan.medium for plan in every)),
        draw_m3h=_times(_most([plan.draw_m3_per_s_std for plan in known]), SECONDS_PER_HOUR),
        dip_mbar=_times(_most([plan.dip_pa for plan in known]), 1.0 / PA_PER_MBAR),
        points=tuple(
            model.PurgePoint(
                id=f"P{number}",
                main_id=ids[place.pipe],
                chainage_m=place.chainage_m,
                role=place.role,
                order=place.order,
                stack_bore_mm=_times(place.bore_m, MM_PER_M),
                outlet_mm=_times(place.outlet_m, MM_PER_M),
                minutes_out=place.minutes_out,
                minutes_in=place.minutes_in,
                note="; ".join(note for note in _notes(context, place) if note),
                least_m3h=_times(place.least_m3_per_s_std, SECONDS_PER_HOUR),
                flow_in_m3h=_times(place.flow_in_m3_per_s_std, SECONDS_PER_HOUR),
                slug_m3=place.slug_m3,
            )
            for number, place in enumerate(places, 1)
        ),
        reached=is_reached(plans, context.gas),
        end_points=tuple(dict.fromkeys(line for plan in every for line in plan.end_points)),
        notes=tuple(notes),
    )


def _notes(context: PlanningContext, place: PurgePlace) -> tuple[str, ...]:
    on_work = _ON_THE_WORK if place.role == "vent" and _is_on_work(context, place) else ""
    return (place.note or _recorded_outlet(context, place), on_work)


def _is_on_work(context: PlanningContext, place: PurgePlace) -> bool:
    """Return whether a place is on pipe that is worked on, such as the capped end of a whole main."""
    main_id = context.request.network.pipes.id[place.pipe]
    return any(
        part.main_id == main_id
        and part.from_m - _SAME_PLACE_M <= place.chainage_m <= part.to_m + _SAME_PLACE_M
        for part in context.request.parts
    )


def _recorded_outlet(context: PlanningContext, place: PurgePlace) -> str:
    """Return a note where a tapping tee is recorded at a place: an earlier purge of a dead end leaves one."""
    fittings = context.request.network.fittings
    at = (fittings.kind == FittingKind.TAPPING_TEE) & (fittings.pipe == place.pipe)
    rows = np.flatnonzero(at & (np.abs(fittings.chainage_m - place.chainage_m) <= _SAME_PLACE_M))
    if not len(rows):
        return ""
    name = fittings.id[int(rows[0])]
    return f"tapping tee {name} is recorded here: use its outlet once it is proved, drill no other beside it"


def _most(values: list[float | None]) -> float | None:
    known = [value for value in values if value is not None and not np.isnan(value)]
    return max(known) if known and len(known) == len(values) else None


def _sum(values: list[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return sum(known) if known and len(known) == len(values) else None


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor
