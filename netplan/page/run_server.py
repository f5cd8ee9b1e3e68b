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
    server = _PageServing(config, page)

    async def serve() -> None:
        watch = asyncio.create_task(_until_idle(server, page, idle_hours * SECONDS_PER_HOUR))
        try:
            await server.serve(sockets=[listening])
        finally:
            watch.cancel()

    # Ctrl-C is how it ends: the server has shut down by then.
    with contextlib.suppress(KeyboardInterrupt):
        asyncio.run(serve())


class _PageServing(uvicorn.Server):
    """A server that ends the streams of pages still open before it waits for their connections."""

    def __init__(self, config: uvicorn.Config, page: PageServer) -> None:
        super().__init__(config)
        self._page = page

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End the streams, then all else."""
        self._page.end_streams()
        await super().shutdown(sockets)


async def _until_idle(server: uvicorn.Server, page: PageServer, idle_s: float) -> None:
    while time.monotonic() - page.last_asked_s < idle_s:
        await asyncio.sleep(min(LOOK_S, idle_s / 4.0))
    server.should_exit = True
