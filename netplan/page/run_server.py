"""Running the page's server until Ctrl-C, or until nobody has asked for some hours."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import time

import uvicorn

from netplan.core.constants import SECONDS_PER_HOUR
from netplan.page.server import PageServer

__all__ = ["run_server"]

LOOK_S = 5.0
"""How often it is looked whether anybody asks (own) [s]."""


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
        page.app(), log_level="warning", access_log=False, lifespan="on", timeout_graceful_shutdown=1
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
        await asyncio.sleep(LOOK_S)
    server.should_exit = True
