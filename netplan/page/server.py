"""The page's server: an application of few routes, all behind `access.GuardedApp`."""

from __future__ import annotations

import asyncio
import json
import math
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from netplan.core.errors import NetplanError
from netplan.network.model import Network
from netplan.page.access import CSRF_HEADER, Access, GuardedApp, cookie_name
from netplan.page.emergency_mode import EmergencyMode
from netplan.page.emergency_routes import EmergencyRoutes
from netplan.page.map_routes import MapRoutes
from netplan.page.map_tiles import FARTHEST_IN, UNITS, MapTiles
from netplan.page.nearest_main import main_at
from netplan.page.page_orders import PageOrders, equal_command
from netplan.page.planning_worker import NetworkSource, PlanningWorker, StageAnswer
from netplan.page.session_file import PlanningSession
from netplan.page.session_routes import SessionRoutes
from netplan.page.street_search import found_by_name
from netplan.rules import read_rules

__all__ = ["PageServer"]

TYPES: Final = {".js": "text/javascript", ".css": "text/css"}
KEEP_ALIVE_S: Final = 15.0
"""Seconds after which a stream without news says that it is there (own) [s]."""


@dataclass(eq=False)
class PageServer:
    """One network on one page.

    Parameters
    ----------
    source : NetworkSource
    network : Network
    access : Access
    port : int
    plans : Path
        Folder that plans are saved in.
    """

    source: NetworkSource
    network: Network
    access: Access
    port: int
    plans: Path
    revision: int = 0
    orders: PageOrders = field(default_factory=PageOrders)
    answers: list[StageAnswer] = field(default_factory=list)
    last_asked_s: float = field(default_factory=time.monotonic)

    def __post_init__(self) -> None:
        self.tiles = MapTiles(self.network)
        self._rules = read_rules(self.source.rules)
        mode = EmergencyMode(self.source, self.network, self._rules)
        self._emergency = EmergencyRoutes(mode, self.plans, self._heard)
        self._map = MapRoutes(self.network, self._rules, self.tiles, lambda: self.orders)
        self._session_kept = PlanningSession(self.network, read_rules(self.source.rules), self.plans)
        self._session_routes = SessionRoutes(
            self._session_kept, lambda: self.orders, self._option, self._give
        )
        self._streams: set[asyncio.Queue[StageAnswer | None]] = set()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._worker: PlanningWorker | None = None
        self._warming: asyncio.Task[Any] | None = None

    def _heard(self) -> None:
        """Note that somebody asks."""
        self.last_asked_s = time.monotonic()

    def app(self) -> GuardedApp:
        """Return the application."""
        routes = [
            Route("/", self._index),
            Route("/static/{name}", self._static),
            Route("/session", self._session, methods=["GET", "POST"]),
            Route("/network", self._network),
            Route("/tiles/{zoom:int}/{column:int}/{row:int}", self._tile),
            Route("/main", self._main),
            *self._map.routes(),
            Route("/search", self._search),
            *self._emergency.routes(),
            Route("/orders", self._orders, methods=["GET", "POST"]),
            Route("/answers", self._answers),
            Route("/plans", self._save, methods=["POST"]),
            *self._session_routes.routes(),
        ]
        return GuardedApp(
            Starlette(routes=routes, lifespan=self._lifespan), self.access, self.port, self._heard
        )

    @asynccontextmanager
    async def _lifespan(self, _: Starlette) -> AsyncIterator[None]:
        self._loop = asyncio.get_running_loop()
        # The first view comes before anything else: the worker reads the network beside it.
        await asyncio.to_thread(self.tiles.warm)
        self._worker = PlanningWorker(self.source, self._hear)
        try:
            yield
        finally:
            self._worker.close()

    def _hear(self, answer: StageAnswer) -> None:
        """Take an answer from the worker's thread into the event loop."""
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._publish, answer)

    def _publish(self, answer: StageAnswer) -> None:
        if answer.revision != self.revision:
            return
        if answer.stage != "progress":
            # Of the answers with options the newest alone counts: a page that comes later needs no other.
            if "options" in answer.data:
                self.answers = [one for one in self.answers if "options" not in one.data]
                self._session_kept.refresh(self.orders, answer.data["options"])
            self.answers.append(answer)
        for stream in self._streams:
            stream.put_nowait(answer)

    def end_streams(self) -> None:
        """End every stream of answers: the server is about to end."""
        for stream in self._streams:
            stream.put_nowait(None)
        self._emergency.end_streams()

    async def _index(self, _: Request) -> Response:
        return Response(_read("page.html"), media_type="text/html")

    async def _static(self, request: Request) -> Response:
        name = request.path_params["name"]
        kind = TYPES.get(Path(name).suffix)
        if kind is None or name not in _static_names():
            return PlainTextResponse("no such file", status_code=404)
        return Response(_read(name), media_type=kind)

    async def _session(self, request: Request) -> Response:
        """Exchange the token for a cookie and the key that the page writes with; say whether both still hold.

        The key is told once: who has the cookie alone, from the jar that all ports share, cannot write.
        """
        if request.method == "POST":
            given = await _json(request)
            cookie = self.access.exchange(str(given.get("token", "")) if isinstance(given, dict) else "")
            if cookie is None:
                return PlainTextResponse("open the address that the terminal printed", status_code=403)
            response = JSONResponse({"csrf": self.access.csrf})
            response.set_cookie(cookie_name(self.port), cookie, httponly=True, samesite="strict", path="/")
            return response
        is_known = self.access.knows(request.cookies.get(cookie_name(self.port), ""))
        if not is_known or not self.access.may_write(request.headers.get(CSRF_HEADER, "")):
            return PlainTextResponse("open the address that the terminal printed", status_code=403)
        return JSONResponse({})

    async def _network(self, _: Request) -> Response:
        tiles, network = self.tiles, self.network
        return JSONResponse(
            {
                "source": self.source.network,
                "digest": network.content_sha256,
                "mains": network.pipes.n_mains,
                "customers": len(network.customers),
                "west_m": tiles.west_m,
                "north_m": tiles.north_m,
                "extent_m": tiles.extent_m,
                "units": UNITS,
                "farthest_in": FARTHEST_IN,
                "currency": self._rules.price.currency,
                "marks_zoom": self._map.marks.zoom,
                "stations": [
                    [float(network.nodes.x_m[node]), float(network.nodes.y_m[node]), network.stations.id[row]]
                    for row, node in enumerate(network.stations.node.tolist())
                    if node >= 0
                ],
            }
        )

    async def _tile(self, request: Request) -> Response:
        zoom, column, row = (request.path_params[name] for name in ("zoom", "column", "row"))
        if zoom > FARTHEST_IN or column >= 2**zoom or row >= 2**zoom:
            return PlainTextResponse("no such tile", status_code=404)
        lines = await asyncio.to_thread(self.tiles.tile, zoom, column, row)
        headers = {"cache-control": "private, max-age=3600"}
        return Response(lines.to_bytes(), media_type="application/octet-stream", headers=headers)

    async def _main(self, request: Request) -> Response:
        try:
            x_m, y_m, reach_m = (float(request.query_params[name]) for name in ("x", "y", "reach"))
            if not all(map(math.isfinite, (x_m, y_m, reach_m))):
                raise ValueError
        except (KeyError, ValueError):
            return PlainTextResponse("give x, y and reach", status_code=400)
        return JSONResponse(await asyncio.to_thread(main_at, self.network, x_m, y_m, min(reach_m, 500.0)))

    async def _search(self, request: Request) -> Response:
        text = request.query_params.get("text", "")[:200]
        return JSONResponse(await asyncio.to_thread(found_by_name, self.network, text))

    async def _orders(self, request: Request) -> Response:
        """Take new orders as the next revision; the worker gives up the older one."""
        if request.method == "POST":
            try:
                given = PageOrders.model_validate(await _json(request))
            except ValidationError as error:
                first = error.errors(include_url=False, include_context=False)[0]
                return PlainTextResponse(
                    f"{'.'.join(map(str, first['loc']))}: {first['msg']}", status_code=422
                )
            self._give(given)
        return JSONResponse({"revision": self.revision, "orders": self.orders.model_dump(mode="json")})

    def _give(self, orders: PageOrders) -> int:
        """Take orders as the next revision, and return its number."""
        self.orders = orders
        self.revision += 1
        self.answers.clear()
        if self._worker is not None and orders.work:
            self._worker.ask(self.revision, orders)
            self._placing = asyncio.create_task(self._map.warm())
        return self.revision

    def _option(self, rank: int) -> dict[str, Any] | None:
        """Return the option of a rank as it was answered last."""
        options = (
            option
            for answer in self.answers
            for option in answer.data.get("options", ())
            if option["rank"] == rank
        )
        return next(options, None)

    async def _answers(self, _: Request) -> Response:
        """Stream the answers to the newest orders, as server-sent events."""
        stream: asyncio.Queue[StageAnswer | None] = asyncio.Queue()
        known = list(self.answers)
        self._streams.add(stream)

        async def events() -> AsyncIterator[str]:
            try:
                for answer in known:
                    yield _event(answer)
                while True:
                    try:
                        newest = await asyncio.wait_for(stream.get(), KEEP_ALIVE_S)
                        if newest is None:
                            return
                        yield _event(newest)
                    except TimeoutError:
                        yield ": still here\n\n"
            finally:
                self._streams.discard(stream)

        return StreamingResponse(events(), media_type="text/event-stream")

    async def _save(self, request: Request) -> Response:
        """Save the plan that the orders make as the usual folder, under a name in the folder of plans."""
        from netplan.page.save_plan import save_orders

        given = await _json(request)
        name = str(given.get("name", "")) if isinstance(given, dict) else ""
        rules, mapping = str(self.source.rules or ""), str(self.source.mapping or "")
        orders = self.orders
        try:
            out, said = await asyncio.to_thread(
                save_orders, self.network, self.source, orders, self.plans, name
            )
        except NetplanError as error:
            return PlainTextResponse(str(error), status_code=422)
        command = equal_command(self.source.network, orders, str(out), rules=rules, mapping=mapping)
        return JSONResponse({"folder": str(out), "command": command, "said": said})


async def _json(request: Request) -> Any:
    try:
        return json.loads(await request.body())
    except (ValueError, RecursionError):
        return None


@cache
def _static_names() -> frozenset[str]:
    """Return the names of the files that the page is made of."""
    return frozenset(one.name for one in resources.files("netplan.page").joinpath("static").iterdir())


def _read(name: str) -> bytes:
    return resources.files("netplan.page").joinpath("static", name).read_bytes()


def _event(answer: StageAnswer) -> str:
    data = json.dumps({"revision": answer.revision, "stage": answer.stage, **answer.data}, allow_nan=False)
    return f"event: answer\ndata: {data}\n\n"
