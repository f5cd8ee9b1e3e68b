"""What the page asks of the emergency mode: open it, ask, hear what follows, save."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path
from typing import Any, Final, TypeVar

from pydantic import BaseModel, ValidationError
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from netplan.core.errors import NetplanError
from netplan.page.emergency_mode import EmergencyMode, PageHit

__all__ = ["EmergencyRoutes"]

KEEP_ALIVE_S: Final = 15.0
"""Seconds after which a stream without news says that it is there (own) [s]."""


Model = TypeVar("Model", bound=BaseModel)


class SavedName(BaseModel):
    """Name of the folder that an answer is saved as."""

    name: str = ""


class EmergencyRoutes:
    """Routes below ``/emergency``.

    Parameters
    ----------
    mode : EmergencyMode
    plans : Path
        Folder that answers are saved in.
    heard : callable
        Called while anybody listens: an open emergency is not idle.
    """

    def __init__(self, mode: EmergencyMode, plans: Path, heard: Callable[[], None]) -> None:
        self._mode, self._plans, self._heard = mode, plans, heard
        self._streams: set[asyncio.Queue[dict[str, Any] | None]] = set()
        self._working: set[asyncio.Task[None]] = set()

    def routes(self) -> list[Route]:
        """Return the routes."""
        return [
            Route("/emergency", self._begin),
            Route("/emergency", self._ask, methods=["POST"]),
            Route("/emergency/answers", self._answers),
            Route("/emergency/saved", self._save, methods=["POST"]),
        ]

    def end_streams(self) -> None:
        """End every stream of answers: the server is about to end."""
        for stream in self._streams:
            stream.put_nowait(None)

    async def _begin(self, _: Request) -> Response:
        """Say what governs at once, and have the tables ready before the first place is given."""
        self._start(self._warm())
        return JSONResponse(self._mode.beginning())

    def _start(self, work: Any) -> None:
        task = asyncio.create_task(work)
        self._working.add(task)
        task.add_done_callback(self._working.discard)

    async def _warm(self) -> None:
        await asyncio.to_thread(self._mode.tables)

    async def _ask(self, request: Request) -> Response:
        """Answer what to shut round a place that was hit: no order and no price in the way."""
        asked = await _read(request, PageHit)
        if isinstance(asked, Response):
            return asked
        try:
            answer, later = await asyncio.to_thread(self._mode.ask, asked)
        except NetplanError as error:
            return PlainTextResponse(str(error), status_code=422)
        self._start(self._follow(later))
        return JSONResponse(answer)

    async def _follow(self, later: Iterator[dict[str, Any]]) -> None:
        while (answer := await asyncio.to_thread(next, later, None)) is not None:
            for stream in self._streams:
                stream.put_nowait(answer)

    async def _answers(self, _: Request) -> Response:
        """Stream the newest answer and what follows of it, as server-sent events."""
        stream: asyncio.Queue[dict[str, Any] | None] = asyncio.Queue()
        self._streams.add(stream)
        known = await asyncio.to_thread(self._mode.newest)

        async def events() -> AsyncIterator[str]:
            try:
                if known is not None:
                    yield _event(known)
                while True:
                    self._heard()
                    try:
                        answer = await asyncio.wait_for(stream.get(), KEEP_ALIVE_S)
                    except TimeoutError:
                        yield ": still here\n\n"
                        continue
                    if answer is None:
                        return
                    yield _event(answer)
            finally:
                self._streams.discard(stream)

        return StreamingResponse(events(), media_type="text/event-stream")

    async def _save(self, request: Request) -> Response:
        given = await _read(request, SavedName)
        if isinstance(given, Response):
            return given
        try:
            return JSONResponse(await asyncio.to_thread(self._mode.save, self._plans, given.name))
        except NetplanError as error:
            return PlainTextResponse(str(error), status_code=422)


async def _read(request: Request, kind: type[Model]) -> Model | Response:
    """Return a body as a model, or the refusal of one that is none."""
    try:
        return kind.model_validate_json(await request.body())
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False)[0]
        words = f"{'.'.join(map(str, first['loc']))}: {first['msg']}".removeprefix(": ")
        return PlainTextResponse(words, status_code=422)


def _event(answer: dict[str, Any]) -> str:
    return f"event: emergency\ndata: {json.dumps(answer, allow_nan=False)}\n\n"
