"""What the page asks for: work section and orders by name, and the command line that says the same."""

from __future__ import annotations

import shlex
from dataclasses import replace
from functools import cache
from typing import Annotated, Final

import numpy as np
import shapely
from pydantic import BaseModel, ConfigDict, Field
from pyproj import Transformer

from netplan.core.errors import BadInputError
from netplan.core.work_window import check_air_temp, check_hours, local_time
from netplan.network.model import Network
from netplan.network.work_part import WorkPart, check_part
from netplan.outputs.keep_out_file import KEEP_OUT_FILE, ROUNDED
from netplan.planning.given_orders import customer_rows, orders_given
from netplan.planning.request import PlanRequest
from netplan.rules import Rules

__all__ = [
    "MOST_POLYGONS",
    "MOST_VERTICES",
    "PageOrders",
    "PageWork",
    "areas_of",
    "equal_command",
    "request_of",
]

MOST_VERTICES: Final = 2_000
MOST_POLYGONS: Final = 100
Name = Annotated[str, Field(min_length=1, max_length=200)]
Names = Annotated[tuple[Name, ...], Field(max_length=1_000)]
LonLat = tuple[
    Annotated[float, Field(ge=-180, le=180, allow_inf_nan=False)],
    Annotated[float, Field(ge=-90, le=90, allow_inf_nan=False)],
]
Corners = Annotated[tuple[LonLat, ...], Field(min_length=3, max_length=MOST_VERTICES)]


class _PageModel(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class PageWork(_PageModel):
    """A length of main to be made gas-free: chainages [m]."""

    main_id: Name
    from_m: Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)]
    to_m: Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)]


class PageOrders(_PageModel):
    """Everything that one answer is made from, as the command line names it.

    Parameters
    ----------
    work : tuple of PageWork
    force, forbid : tuple of str
        ``MAIN:CHAINAGE``, a valve id, or for `forbid` ``MAIN:FROM:TO``.
    keep_out : tuple of rings
        Polygons where no stop may be dug: corners as longitude and latitude [°].
    keep_on, own_supply : tuple of str
        Ids of customers.
    max_stops, options : int
        0: by the rules.
    no_bypass : bool
    start : str
        Local start of the window, ISO 8601; empty for any working day.
    hours, air_temp_c : float, optional
        Length of the window [h], air temperature [°C]; by the rules without.
    """

    work: Annotated[tuple[PageWork, ...], Field(max_length=200)] = ()
    force: Names = ()
    forbid: Names = ()
    keep_out: Annotated[tuple[Corners, ...], Field(max_length=MOST_POLYGONS)] = ()
    keep_on: Names = ()
    own_supply: Names = ()
    max_stops: Annotated[int, Field(ge=0, le=1000)] = 0
    options: Annotated[int, Field(ge=0, le=50)] = 0
    no_bypass: bool = False
    start: Annotated[str, Field(max_length=40)] = ""
    hours: Annotated[float, Field(gt=0, le=240)] | None = None
    air_temp_c: Annotated[float, Field(ge=-60, le=60)] | None = None


def request_of(
    orders: PageOrders, network: Network, rules: Rules, *, options: int, weather: bool
) -> PlanRequest:
    """Return the request that a command line with the same orders makes.

    Parameters
    ----------
    orders : PageOrders
    network : Network
    rules : Rules
    options : int
        How many options this answer lists at most; the orders' own number where that is less.
    weather : bool

    Raises
    ------
    BadInputError
        When a main, valve, customer, chainage or time is none.
    """
    if not orders.work:
        raise BadInputError("work section: none yet; point at a main")
    parts = tuple(WorkPart(one.main_id, one.from_m, one.to_m) for one in orders.work)
    for part in parts:
        check_part(part)
    given = orders_given(
        force=orders.force,
        forbid=orders.forbid,
        keep_out=None,
        max_stops=orders.max_stops or None,
        keep_on=orders.keep_on,
    ).on(network, lambda *_: ())
    if orders.keep_out:
        areas = tuple(_on_plane(network, area) for area in areas_of(orders))
        given = replace(given, keep_out=areas)
    if orders.hours is not None:
        check_hours(orders.hours)
    if orders.air_temp_c is not None:
        check_air_temp(orders.air_temp_c)
    wanted = orders.options or rules.choice.options
    return PlanRequest(
        network=network,
        parts=parts,
        rules=rules,
        start=local_time(orders.start, "start") if orders.start else None,
        hours=orders.hours,
        air_temp_c=orders.air_temp_c,
        orders=given,
        feeds_allowed=not orders.no_bypass,
        own_supply=customer_rows(network, orders.own_supply, "own supply"),
        options=min(options, wanted),
        weather=weather,
    )


def areas_of(orders: PageOrders) -> tuple[shapely.Polygon, ...]:
    """Return the keep-out areas in longitude and latitude [°], to the decimals that their file has."""
    return tuple(shapely.Polygon(np.round(ring, ROUNDED)) for ring in orders.keep_out)


def _on_plane(network: Network, area: shapely.Polygon) -> shapely.Polygon:
    # Forward, as a file of polygons is read: to the last digit the same.
    corners = np.asarray(area.exterior.coords)
    polygon = shapely.Polygon(np.column_stack(_to_plane(network.crs).transform(*corners.T)))
    if not polygon.is_valid or polygon.area <= 0.0:
        raise BadInputError("keep-out area: its sides cross, or it has no area; draw it again")
    return polygon


@cache
def _to_plane(crs: str) -> Transformer:
    return Transformer.from_crs("EPSG:4326", crs, always_xy=True)


def equal_command(source: str, orders: PageOrders, out: str, *, rules: str = "", mapping: str = "") -> str:
    """Return the command line that makes the same plan."""
    words = ["gas-netplan", "plan", source]
    for n, work in enumerate(orders.work):
        if n == 0:
            words += ["--main", work.main_id, "--from", _metres(work.from_m), "--to", _metres(work.to_m)]
        else:
            words += ["--and-main", f"{work.main_id}:{_metres(work.from_m)}:{_metres(work.to_m)}"]
    for option, values in (
        ("--force", orders.force),
        ("--forbid", orders.forbid),
        ("--keep-on", orders.keep_on),
        ("--own-supply", orders.own_supply),
    ):
        for value in values:
            words += [option, value]
    if orders.keep_out:
        words += ["--keep-out", f"{out}/{KEEP_OUT_FILE}"]
    more: tuple[tuple[str, int | float | str | None], ...] = (
        ("--max-stops", orders.max_stops or None),
        ("--options", orders.options or None),
        ("--start", orders.start or None),
        ("--hours", orders.hours),
        ("--air-temp", orders.air_temp_c),
        ("--rules", rules or None),
        ("--mapping", mapping or None),
    )
    for option, given in more:
        if given is not None:
            words += [option, f"{given:g}" if isinstance(given, float) else str(given)]
    if orders.no_bypass:
        words.append("--no-bypass")
    return shlex.join([*words, "--out", out])


def _metres(value_m: float) -> str:
    """Return a chainage to the millimetre, as plan.json states it."""
    return f"{value_m:.3f}".rstrip("0").rstrip(".")
