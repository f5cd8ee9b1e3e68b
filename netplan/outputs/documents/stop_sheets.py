"""Squeeze sheet and bag sheet: what the plan gives, and blanks for what the makers give."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from netplan.core.constants import MM_PER_M
from netplan.outputs.number_format import Figures
from netplan.planfile.model import Option, Plan, PreparedFallback, Stop, Tapping

__all__ = ["bag_part", "squeeze_part"]


class _Barrier(NamedTuple):
    """One barrier that is made for the work: of which stop, which of its two, and where."""

    of: str
    role: str
    method: str
    main_id: str
    chainage_m: float
    od_mm: float
    outlet_mm: float
    hole_id: str
    tapping: Tapping

    @property
    def id(self) -> str:
        """The id of the barrier among the items of the order."""
        return f"{self.of}-{self.role}"


def _barriers(option: Option, kind: str) -> Iterator[_Barrier]:
    """Yield the barriers of a kind, the prepared fallbacks' last; the inner one is nearest the work."""
    stops: tuple[Stop | PreparedFallback, ...] = (*option.stops, *option.prepared_fallbacks)
    for stop in stops:
        if stop.kind != kind:
            continue
        tapped = sorted((t for t in stop.tappings if t.role == "barrier"), key=lambda t: _away(stop, t))
        names = ("single",) if len(tapped) == 1 else ("inner", "outer")
        for role, tapping in zip(names, tapped, strict=False):
            main = tapping.main_id or stop.main_id
            yield _Barrier(
                stop.id,
                role,
                stop.method,
                main,
                tapping.chainage_m,
                stop.od_mm,
                tapping.size_mm,
                stop.hole_id,
                tapping,
            )


def _away(stop: Stop | PreparedFallback, tapping: Tapping) -> float:
    """Return how far a tapping lies from the barrier nearest the work, positive away from the work [m]."""
    if isinstance(stop, Stop):
        return tapping.away_from(stop)
    if tapping.offset_m is not None:
        return tapping.offset_m
    return (1.0 if stop.work_side == "from" else -1.0) * (tapping.chainage_m - stop.chainage_m)


def _rule(plan: Plan, method: str) -> Mapping[str, Any]:
    """Return the rules of a method by its name."""
    methods: Sequence[Mapping[str, Any]] = plan.rules.get("method", ())
    return next((one for one in methods if one.get("name") == method), {})


def squeeze_part(plan: Plan, option: Option, units: Figures) -> dict[str, Any]:
    """Return a row for each squeeze: pipe, clearances by the rules, and the nearest other squeeze planned."""
    squeezes = list(_barriers(option, "squeeze"))
    walls = {stop.id: stop.wall_mm for stop in option.stops}
    return {"squeezes": [_squeeze(one, squeezes, walls, plan, units) for one in squeezes]}


def _squeeze(
    one: _Barrier,
    others: Sequence[_Barrier],
    walls: Mapping[str, float | None],
    plan: Plan,
    units: Figures,
) -> dict[str, str]:
    rule = _rule(plan, one.method)
    wall = walls.get(one.of)
    thick = "wall not known" if wall is None else f"wall {units.size(wall)}"
    near = [
        (abs(other.chainage_m - one.chainage_m), other.id)
        for other in others
        if other is not one and other.main_id == one.main_id
    ]
    nearest = min(near, default=None)
    return {
        "id": one.id,
        "place": f"{one.main_id} at {units.chainage(one.chainage_m)}",
        "hole": one.hole_id,
        "pipe": f"{units.pipe(one.od_mm)}, {thick}",
        "fitting-rule": _clearance(rule, "fitting", one.od_mm, units),
        "fitting": _fitting(one.tapping, units),
        "squeeze-rule": _clearance(rule, "same", one.od_mm, units),
        "other": _others(one.tapping, nearest, units),
    }


def _fitting(squeeze: Tapping, units: Figures) -> str:
    """Return how far the nearest fitting on record is; empty where the plan does not say."""
    return "" if squeeze.fitting_m is None else f"{units.chainage(squeeze.fitting_m)} to {squeeze.fitting}"


def _others(squeeze: Tapping, nearest: tuple[float, str] | None, units: Figures) -> str:
    """Return the nearest squeeze of the plan on the main, and the nearest mark of an earlier one."""
    parts = [f"{units.chainage(nearest[0])} to {nearest[1]}"] if nearest else []
    if squeeze.mark_m is not None:
        parts.append(f"{units.chainage(squeeze.mark_m)} to an earlier squeeze on record")
    return "; ".join(parts) or "none planned on this main"


def _clearance(rule: Mapping[str, Any], what: str, od_mm: float, units: Figures) -> str:
    """Return the clearance of a method by its rule: the larger of a length and a multiple of the OD."""
    length_m, times = rule.get(f"{what}_m"), rule.get(f"{what}_od")
    if length_m is None or times is None:
        return ""
    least = max(float(length_m), float(times) * od_mm / MM_PER_M)
    return f"{units.chainage(least)} ({float(times):g} × OD, at least {units.chainage(float(length_m))})"


def bag_part(plan: Plan, option: Option, units: Figures) -> dict[str, Any]:
    """Return a row for each bag: bore, outlet, and the pressures that stand against it."""
    stops = {stop.id: stop for stop in option.stops}
    return {"bags": [_bag(one, stops.get(one.of), plan, units) for one in _barriers(option, "bag")]}


def _bag(one: _Barrier, stop: Stop | None, plan: Plan, units: Figures) -> dict[str, str]:
    rating = _rule(plan, one.method).get("rating_mbar")
    return {
        "id": one.id,
        "place": f"{one.main_id} at {units.chainage(one.chainage_m)}",
        "hole": one.hole_id,
        "od": units.pipe(one.od_mm),
        "bore": "" if stop is None else units.size(stop.bore_mm),
        "outlet": units.bore(one.outlet_mm) if one.outlet_mm else "",
        "against": "" if stop is None else units.against(stop.pressure_mbar),
        "fault": "" if stop is None else units.against(stop.fault_pressure_mbar),
        "rating": "" if rating is None else units.rating(float(rating)),
    }
