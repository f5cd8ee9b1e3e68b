"""What the page asks the server for to keep a session: notes, pinned options, files by name."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from netplan.core.errors import BadInputError, NetplanError
from netplan.page.page_orders import PageOrders
from netplan.page.session_file import PlanningSession

__all__ = ["SessionRoutes"]


class SessionRoutes:
    """Routes of one session.

    Parameters
    ----------
    session : PlanningSession
    orders : callable
        Returns what is ordered now.
    option : callable
        Returns the option of a rank as it was answered last; None where there is none.
    give : callable
        Takes orders as the next revision, and returns its number.
    """

    def __init__(
        self,
        session: PlanningSession,
        orders: Callable[[], PageOrders],
        option: Callable[[int], dict[str, Any] | None],
        give: Callable[[PageOrders], int],
    ) -> None:
        self._session, self._orders, self._option, self._give = session, orders, option, give

    def routes(self) -> list[Route]:
        """Return them."""
        return [
            Route("/notes", self._notes, methods=["GET", "POST"]),
            Route("/notes/drop", self._drop_note, methods=["POST"]),
            Route("/pins", self._pin, methods=["POST"]),
            Route("/pins/drop", self._unpin, methods=["POST"]),
            Route("/session-files", self._names),
            Route("/session-file/save", self._save, methods=["POST"]),
            Route("/session-file/open", self._open, methods=["POST"]),
        ]

    async def _notes(self, request: Request) -> Response:
        """Answer notes and pinned options; take one more note."""
        if request.method == "POST":
            given = await _given(request)
            try:
                self._session.note(given.get("about"), given.get("place"), given.get("text"))
            except BadInputError as error:
                return PlainTextResponse(str(error), status_code=422)
        return JSONResponse(self._session.shown())

    async def _drop_note(self, request: Request) -> Response:
        self._session.drop_note(_number(await _given(request), "at"))
        return JSONResponse(self._session.shown())

    async def _pin(self, request: Request) -> Response:
        """Pin the option of a rank, as it was answered last."""
        option = self._option(_number(await _given(request), "rank"))
        if option is None:
            return PlainTextResponse("pinned: there is no such option now", status_code=422)
        try:
            self._session.pin(self._orders(), option)
        except BadInputError as error:
            return PlainTextResponse(str(error), status_code=422)
        return JSONResponse(self._session.shown())

    async def _unpin(self, request: Request) -> Response:
        self._session.unpin(_number(await _given(request), "at"))
        return JSONResponse(self._session.shown())

    async def _names(self, _: Request) -> Response:
        return JSONResponse(await asyncio.to_thread(self._session.names))

    async def _save(self, request: Request) -> Response:
        name = str((await _given(request)).get("name", ""))
        try:
            path = await asyncio.to_thread(self._session.save, name, self._orders())
        except NetplanError as error:
            return PlainTextResponse(str(error), status_code=422)
        return JSONResponse({"file": str(path)})

    async def _open(self, request: Request) -> Response:
        """Take up a saved session: its orders are the next revision."""
        name = str((await _given(request)).get("name", ""))
        try:
            orders, changes = await asyncio.to_thread(self._session.open, name)
        except NetplanError as error:
            return PlainTextResponse(str(error), status_code=422)
        revision = self._give(orders)
        said = {"revision": revision, "orders": orders.model_dump(mode="json"), "changes": list(changes)}
        return JSONResponse({**said, **self._session.shown()})


async def _given(request: Request) -> dict[str, Any]:
    try:
        data = json.loads(await request.body())
    except (ValueError, RecursionError):
        return {}
    return data if isinstance(data, dict) else {}


def _number(given: dict[str, Any], name: str) -> int:
    value = given.get(name)
    return value if isinstance(value, int) else -1
