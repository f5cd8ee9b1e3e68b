"""What the page's map asks the server for beyond its tiles: marks close in, drawn areas, places of stops."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from typing import Any, Final

from pydantic import ValidationError
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from netplan.core.errors import NetplanError
from netplan.network.model import Network
from netplan.page.drawn_areas import (
    DrawnPolygon,
    lon_lat_ring,
    recorded_areas,
    rings_on_plane,
    street_lengths,
    work_in_area,
)
from netplan.page.map_marks import MapMarks
from netplan.page.map_tiles import MapTiles
from netplan.page.nearest_main import main_named
from netplan.page.page_orders import PageOrders
from netplan.page.stop_places import StopPlaces
from netplan.rules import Rules

__all__ = ["MapRoutes"]

FARTHEST_M: Final = 2_000.0
"""Farthest that mains are looked for round a place (own) [m]."""
LONGEST_NAME: Final = 400
"""Characters of a place's name that are read (own) [-]."""


class MapRoutes:
    """Routes of one network.

    Parameters
    ----------
    network : Network
    rules : Rules
    tiles : MapTiles
    orders : callable
        Returns what is ordered now.
    """

    def __init__(
        self, network: Network, rules: Rules, tiles: MapTiles, orders: Callable[[], PageOrders]
    ) -> None:
        self._network, self._rules, self._orders = network, rules, orders
        self.marks = MapMarks(network, tiles)
        self._stops = StopPlaces(network, rules)

    def routes(self) -> list[Route]:
        """Return them."""
        return [
            Route("/marks/{column:int}/{row:int}", self._marks),
            Route("/areas", self._areas),
            Route("/main-line", self._main_line),
            Route("/stops-near", self._stops_near),
            Route("/stop-at", self._stop_at),
            Route("/street-work", self._street_work),
            Route("/area-work", self._area_work, methods=["POST"]),
            Route("/area-ring", self._area_ring, methods=["POST"]),
        ]

    async def _marks(self, request: Request) -> Response:
        column, row = request.path_params["column"], request.path_params["row"]
        if column >= 2**self.marks.zoom or row >= 2**self.marks.zoom:
            return PlainTextResponse("no such tile", status_code=404)
        found = await asyncio.to_thread(self.marks.tile, column, row)
        return JSONResponse(found, headers={"cache-control": "private, max-age=3600"})

    async def _main_line(self, request: Request) -> Response:
        """Answer the course of a main by its id."""
        name = request.query_params.get("main", "")[:LONGEST_NAME]
        return JSONResponse(await asyncio.to_thread(main_named, self._network, name))

    async def _areas(self, request: Request) -> Response:
        """Answer the keep-out areas: on record in a box, and ordered, in the order of the orders."""
        box = _numbers(request, "west", "south", "east", "north")
        if box is None:
            return PlainTextResponse("give west, south, east and north", status_code=400)
        west, south, east, north = box
        recorded = await asyncio.to_thread(recorded_areas, self._network, (west, south, east, north))
        ordered = rings_on_plane(self._network, self._orders().keep_out)
        return JSONResponse({"recorded": recorded, "ordered": ordered})

    async def _stops_near(self, request: Request) -> Response:
        """Answer where a stop may be and where not, on the mains within reach of a place."""
        place = _numbers(request, "x", "y", "reach")
        if place is None:
            return PlainTextResponse("give x, y and reach", status_code=400)
        x_m, y_m, reach_m = place
        near = self._stops.near
        return await self._or_refused(near, self._orders(), x_m, y_m, min(reach_m, FARTHEST_M))

    async def _stop_at(self, request: Request) -> Response:
        """Answer why no set of stops isolates the work with one at a place; empty words where one does."""
        place, instead_of = (request.query_params.get(name, "")[:LONGEST_NAME] for name in ("place", "was"))
        if not place:
            return PlainTextResponse("give a place", status_code=400)
        words = await asyncio.to_thread(self._stops.refusal, self._orders(), place, instead_of)
        return JSONResponse({"words": words})

    async def _street_work(self, request: Request) -> Response:
        street = request.query_params.get("street", "")[:LONGEST_NAME]
        return await self._or_refused(street_lengths, self._network, street, self._rules.page.work_lengths)

    async def _area_work(self, request: Request) -> Response:
        drawn = await _drawn(request)
        if isinstance(drawn, Response):
            return drawn
        return await self._or_refused(work_in_area, self._network, drawn, self._rules.page.work_lengths)

    async def _area_ring(self, request: Request) -> Response:
        drawn = await _drawn(request)
        if isinstance(drawn, Response):
            return drawn
        return await self._or_refused(lon_lat_ring, self._network, drawn)

    async def _or_refused(self, answer: Callable[..., Any], *arguments: Any) -> Response:
        try:
            return JSONResponse(await asyncio.to_thread(answer, *arguments))
        except NetplanError as error:
            return PlainTextResponse(str(error), status_code=422)

    async def warm(self) -> None:
        """Work out what places of stops rest on, before anybody takes hold of one."""
        orders = self._orders()
        if orders.work:
            await asyncio.to_thread(self._stops.warm, orders)


async def _drawn(request: Request) -> DrawnPolygon | Response:
    try:
        return DrawnPolygon.model_validate(json.loads(await request.body()))
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False)[0]
        return PlainTextResponse(f"{'.'.join(map(str, first['loc']))}: {first['msg']}", status_code=422)
    except (ValueError, RecursionError):
        return PlainTextResponse("ring: it cannot be read", status_code=422)


def _numbers(request: Request, *names: str) -> list[float] | None:
    """Return numbers of a question; None where one is missing or none."""
    try:
        found = [float(request.query_params[name]) for name in names]
    except (KeyError, ValueError):
        return None
    return found if all(abs(value) <= 1e8 for value in found) else None
