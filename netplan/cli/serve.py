"""``gas-netplan serve``: the planning page, on this machine alone."""

from __future__ import annotations

import contextlib
import socket
from pathlib import Path
from typing import Annotated

import typer

from netplan.cli.options import Cache, MappingFile, Network, RulesFile, check_inputs, mapping_given
from netplan.core.errors import BadInputError

__all__ = ["command"]


def command(
    network: Network,
    rules: RulesFile = None,
    mapping: MappingFile = None,
    cache: Cache = None,
    plans: Annotated[Path, typer.Option(help="Folder to save plans in.")] = Path("plans"),
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Port on this machine; 0 takes a free one.")
    ] = 0,
    no_open: Annotated[bool, typer.Option("--no-open", help="Do not open the browser.")] = False,
) -> None:
    """Open the planning page in the browser.

    Point at a main, give orders, compare options, save. The page answers only this machine's browser, at
    the address printed. Ctrl-C ends it; so does the idle time of the rules.
    """
    from netplan.core.extras import require_extra

    check_inputs(network, texts=(rules, mapping))
    require_extra("page", "the planning page")
    if plans.exists() and not plans.is_dir():
        raise BadInputError(f"{plans}: is not a folder; give another --plans")

    listening = _listening(port)
    from netplan.page.access import Access

    access = Access()
    number = listening.getsockname()[1]
    address = f"http://127.0.0.1:{number}/#{access.token}"
    typer.echo(address)

    from netplan.page.opening_file import opening_file
    from netplan.page.planning_worker import NetworkSource
    from netplan.page.run_server import run_server
    from netplan.page.server import PageServer
    from netplan.readers import read_network
    from netplan.rules import read_rules

    idle_hours = read_rules(rules).page.idle_hours
    joined = read_network(network, mapping=mapping_given(mapping), cache=cache, set_aside=True)
    plans.mkdir(parents=True, exist_ok=True)
    server = PageServer(NetworkSource(network, rules, mapping, cache), joined, access, number, plans)
    with contextlib.ExitStack() as until_the_end:
        if not no_open:
            import webbrowser

            webbrowser.open(until_the_end.enter_context(opening_file(plans, address)))
        run_server(server, listening, idle_hours)


def _listening(port: int) -> socket.socket:
    """Return a socket that listens on the loopback alone.

    Raises
    ------
    BadInputError
        When the port is taken.
    """
    # The protocol by its name: asyncio sends at once only on sockets that say so, on others 40 ms late.
    found = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        found.bind(("127.0.0.1", port))
    except OSError as error:
        found.close()
        raise BadInputError(f"--port: {port} cannot be used ({error.strerror}); give another, or 0") from None
    found.listen(128)
    return found
