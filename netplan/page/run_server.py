"""Running the page's server until Ctrl-C, or until nobody has asked for some hours."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import time

import uvicorn

from netplan.core.constants import SECONDS_PER_HOUR
from netplan.page.access import MOST_HEAD_BYTES
from netplan.page.server import PageServer

__all__ = ["run_server"]

SOON_S = 0.1
"""How often it is looked whether the server is to end (own): sooner than it gives up waiting [s]."""
LOOK_S = 5.0
"""How often it is looked whether anybody asks (own) [s]."""
MOST_CONNECTIONS = 64
"""Connections at once; beyond it the answer is that there are too many (own) [-]."""


def run_server(page: PageServer, listening: socket.socket, idle_hours: float) -> None:
    """Answer until it is stopped.

    Parameters
    ----------
    page : PageServer
    listening : socket
        On the loopback.
    idle_hours : float
        Without a request for so long it ends [h].
    """
    config = uvicorn.Config(
        page.app(),
        log_level="error",
        access_log=False,
        lifespan="on",
        timeout_graceful_shutdown=1,
        http="h11",  # it refuses two names of a host in one request, and limits the size of headers
        ws="none",
        h11_max_incomplete_event_size=MOST_HEAD_BYTES,
        limit_concurrency=MOST_CONNECTIONS,
        server_header=False,
        date_header=False,
    )
    server = uvicorn.Server(config)

    async def serve() -> None:
        watches = [
            asyncio.create_task(_until_idle(server, page, idle_hours * SECONDS_PER_HOUR)),
            asyncio.create_task(_end_streams(server, page)),
        ]
        try:
            await server.serve(sockets=[listening])
        finally:
            for watch in watches:
                watch.cancel()

    # Ctrl-C is how it ends: the server has shut down by then.
    with contextlib.suppress(KeyboardInterrupt):
        asyncio.run(serve())


async def _end_streams(server: uvicorn.Server, page: PageServer) -> None:
    """End the streams of pages still open once the server is to end: it waits for their connections."""
    while not server.should_exit:
        await asyncio.sleep(SOON_S)
    page.end_streams()


async def _until_idle(server: uvicorn.Server, page: PageServer, idle_s: float) -> None:
    while time.monotonic() - page.last_asked_s < idle_s:
        await asyncio.sleep(min(LOOK_S, idle_s / 4.0))
    server.should_exit = True
