"""What an option leaves on the mains once its work is done, in the words of the input contract.

Squeeze places and capped outlets: the next plan has to keep clear of both.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

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
}

_SAME_M: Final = 2e-3
"""Chainages of a plan are to the millimetre; read again from a file they may differ by one more (own) [m]."""

_Place = tuple[str, str, float]
"""Kind, main and chainage to the digits of a plan."""


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


def as_built_rows(option: Option, places: PipePlaces, network: Network) -> gpd.GeoDataFrame:
    """Return the fittings that an option leaves behind, at their places in the working CRS.

    Every barrier of a squeeze stop is a ``squeeze_mark``. Every outlet drilled for a stop, a bypass, a hose
    or a purge is a ``tapping_tee``, plugged and capped when the work is over. Nothing is said of the work
    itself: the plan does not know whether pipe is cut out, or what takes its place.

    Parameters
    ----------
    option : Option
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
    for (kind, main_id, chainage_m), left in _left_behind(option).items():
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


def _left_behind(option: Option) -> dict[_Place, _Left]:
    """Return what is left at each place, stops first, in the order of the plan."""
    found: dict[_Place, _Left] = {}
    for kind, main_id, chainage_m, size_mm, use in _uses(option):
        left = found.setdefault((kind, main_id, round(chainage_m, METRES_DIGITS)), _Left(size_mm, []))
        if use not in left.uses:
            left.uses.append(use)
    return found


def _uses(option: Option) -> Iterator[tuple[str, str, float, float, str]]:
    """Yield kind, main, chainage [m], bore of the outlet [mm, NaN: not stated] and what it is for."""
    for stop in option.stops:
        for tapping in stop.tappings:
            kind = _kind(stop, tapping)
            if kind:
                use = f"{_ROLES[tapping.role]} of {stop.id}" if kind == _OUTLET else f"barrier of {stop.id}"
                size_mm = tapping.size_mm if kind == _OUTLET else float("nan")
                yield kind, tapping.main_id or stop.main_id, tapping.chainage_m, size_mm, use
    for bypass in option.bypasses:
        for end in (bypass.from_, bypass.to):
            yield _OUTLET, end.main_id, end.chainage_m, float("nan"), f"{bypass.kind} {bypass.id}"
    valves = {_rounded(stop) for stop in option.stops if stop.kind == "valve"}
    for point in option.purge.points:
        # Through a valve nothing is drilled.
        if _rounded(point) not in valves:
            yield _OUTLET, point.main_id, point.chainage_m, float("nan"), f"purge point {point.id}"


def _rounded(place: Stop | PurgePoint) -> tuple[str, float]:
    return place.main_id, round(place.chainage_m, METRES_DIGITS)


def _kind(stop: Stop, tapping: Tapping) -> str:
    """Return what a tapping of a stop leaves; empty for nothing."""
    if stop.kind == "squeeze" and tapping.role == "barrier":
        return _SQUEEZE
    return _OUTLET if tapping.size_mm > 0 else ""
