"""What an option leaves on the mains once its work is done, in the words of the input contract.

Squeeze places and capped outlets: the next plan has to keep clear of both.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

import geopandas as gpd

from netplan.network.model import Network
from netplan.network.text_column import TextColumn
from netplan.network.vocabulary import FittingKind
from netplan.outputs.layers.pipe_places import PipePlaces
from netplan.planfile.model import Option, PurgePoint, Stop, Tapping
from netplan.planfile.numbers import METRES_DIGITS

__all__ = ["AS_BUILT_COLUMNS", "AS_BUILT_LAYER", "as_built_rows", "free_id"]

AS_BUILT_LAYER: Final = "as_built_fittings"
"""Name of the layer in plan.gpkg."""

AS_BUILT_COLUMNS: Final = ("id", "system", "kind", "main_id", "chainage_m", "size_mm", "option", "note")
"""``id``, ``system`` and ``kind`` are those of the layer ``fittings`` of the input contract; the chainage is
a true length [m], the bore of the outlet is in mm and NaN where the plan states none."""

_SQUEEZE: Final = FittingKind.SQUEEZE_MARK.word
# Not `cap`: that is the end of a main, and a mended network never draws a capped end up to another main.
_OUTLET: Final = FittingKind.TAPPING_TEE.word
_WORD: Final = {_SQUEEZE: "squeeze", _OUTLET: "outlet"}
_ROLES: Final = {
    "zone_vent": "zone vent",
    "barrier": "bag outlet",
    "vent": "vent between the barriers",
    "gauge": "gauge",
    "bypass": "bypass tee",
    "purge_in": "purge in",
}

_SAME_M: Final = 2e-3
"""Chainages of a plan are to the millimetre; read again from a file they may differ by one more (own) [m]."""

_Place = tuple[str, str, float]
"""Kind, main and chainage to the digits of a plan."""


class _Use(NamedTuple):
    """Something that is left: what it is for, and the nominal size of an outlet (NaN: not stated) [mm]."""

    kind: str
    main_id: str
    chainage_m: float
    what_for: str
    size_mm: float = math.nan


@dataclass(slots=True)
class _Left:
    size_mm: float
    uses: list[str]


def free_id(wanted: str, taken: TextColumn) -> str:
    """Return an id that is not taken: the wanted one, else with ``-2``, ``-3`` and so on behind it."""
    found, number = wanted, 2
    while taken.find(found) >= 0:
        found, number = f"{wanted}-{number}", number + 1
    return found


def as_built_rows(
    option: Option, clearance: Mapping[str, float], places: PipePlaces, network: Network
) -> gpd.GeoDataFrame:
    """Return the fittings that an option leaves behind, at their places in the working CRS.

    Every barrier of a squeeze stop is a ``squeeze_mark``. Every outlet drilled for a stop, a bypass, a hose,
    a purge or a prepared fallback is a ``tapping_tee``, plugged and capped when the work is over. Nothing is
    said of the work itself: the plan does not know whether pipe is cut out, or what takes its place.

    Parameters
    ----------
    option : Option
    clearance : mapping of str to float
        The plan's rules ``clearance``: several tees of one bypass stand so far apart.
    places : PipePlaces
    network : Network
        For the pressure systems of the mains, and the ids that are used already. A fitting that is recorded
        at its place with the id it would get here is left out.

    Returns
    -------
    GeoDataFrame
        The columns of `AS_BUILT_COLUMNS`. The same place has the same id in every plan.
    """
    recorded, rows = network.fittings.id, []

    def tee_gap_m(main_id: str) -> float:
        od_m = float(network.pipes.od_m[places.row("mains", main_id)])
        return max(clearance["fitting_m"], clearance["fitting_od"] * od_m)

    for (kind, main_id, chainage_m), left in _left_behind(option, tee_gap_m).items():
        wanted = f"{main_id}-{chainage_m:.{METRES_DIGITS}f}-{_WORD[kind]}"
        pipe = places.row("mains", main_id)
        if pipe < 0 or _is_recorded(network, recorded.find(wanted), kind, pipe, chainage_m):
            continue
        system = network.systems[int(network.pipes.system[pipe])]
        note = f"planned, confirm on site: {'; '.join(left.uses)}"
        values = (
            free_id(wanted, recorded),
            system,
            kind,
            main_id,
            chainage_m,
            left.size_mm,
            option.rank,
            note,
        )
        rows.append((*values, places.point(main_id, chainage_m)))
    return places.frame(AS_BUILT_COLUMNS, rows)


def _is_recorded(network: Network, row: int, kind: str, pipe: int, chainage_m: float) -> bool:
    """Whether a recorded fitting is of a kind and stands at a place, to the digits of a plan."""
    fittings = network.fittings
    return (
        row >= 0
        and FittingKind(int(fittings.kind[row])).word == kind
        and int(fittings.pipe[row]) == pipe
        and abs(float(fittings.chainage_m[row]) - chainage_m) <= _SAME_M
    )


def _left_behind(option: Option, tee_gap_m: Callable[[str], float]) -> dict[_Place, _Left]:
    """Return what is left at each place, in the order of the plan; the first that states a size gives it."""
    found: dict[_Place, _Left] = {}
    for use in _uses(option, tee_gap_m):
        place = (use.kind, use.main_id, round(use.chainage_m, METRES_DIGITS))
        left = found.setdefault(place, _Left(use.size_mm, []))
        if math.isnan(left.size_mm):
            left.size_mm = use.size_mm
        if use.what_for not in left.uses:
            left.uses.append(use.what_for)
    return found


def _uses(option: Option, tee_gap_m: Callable[[str], float]) -> Iterator[_Use]:
    """Yield what is squeezed and drilled, stops first; `tee_gap_m` is the clearance of tees by main [m]."""
    for stop in option.stops:
        for tapping in stop.tappings:
            if stop.kind == "squeeze" and tapping.role == "barrier":
                yield _Use(
                    _SQUEEZE, tapping.main_id or stop.main_id, tapping.chainage_m, f"barrier of {stop.id}"
                )
            elif tapping.size_mm > 0:
                yield from _outlets(tapping, stop.id, stop.main_id, stop.work_side, tee_gap_m)
    # Dug, tapped and proved, but squeezed only when a stop fails.
    for fallback in option.prepared_fallbacks:
        for tapping in fallback.tappings:
            if tapping.size_mm > 0:
                yield from _outlets(tapping, fallback.id, fallback.main_id, fallback.work_side, tee_gap_m)
    for bypass in option.bypasses:
        sizes = bypass.outlets_mm or (math.nan, math.nan)
        use = f"{bypass.kind} {bypass.id}{_several(bypass.parallel)}"
        for end, size_mm in zip((bypass.from_, bypass.to), sizes, strict=True):
            yield _Use(_OUTLET, end.main_id, end.chainage_m, use, size_mm)
    valves = {_rounded(stop) for stop in option.stops if stop.kind == "valve"}
    for point in option.purge.points:
        # In a valve nothing is drilled.
        if _rounded(point) not in valves:
            size_mm = point.outlet_mm or math.nan
            yield _Use(_OUTLET, point.main_id, point.chainage_m, f"purge point {point.id}", size_mm)


def _outlets(
    tapping: Tapping, of: str, main_id: str, work_side: str, tee_gap_m: Callable[[str], float]
) -> Iterator[_Use]:
    """Yield a tapping's outlets: several hoses of one bypass have a tee each, further on from the work."""
    on, use = tapping.main_id or main_id, f"{_ROLES[tapping.role]} of {of}"
    # On another main than the stop's it is not known which way is away; the first tee alone is placed.
    away = 0 if on != main_id else 1 if work_side == "from" else -1
    count = tapping.count if away else 1
    use += _several(tapping.count)
    for number in range(count):
        chainage_m = tapping.chainage_m + away * number * tee_gap_m(on)
        yield _Use(_OUTLET, on, chainage_m, use, tapping.size_mm)


def _several(count: int) -> str:
    """Return that tees stand side by side: their places are to be taken from what was drilled."""
    return f", {count} tees side by side" if count > 1 else ""


def _rounded(place: Stop | PurgePoint) -> tuple[str, float]:
    return place.main_id, round(place.chainage_m, METRES_DIGITS)
