"""The process that plans for the page: a newer order cancels the older, a dead process is replaced.

It reads the network itself, so that neither a long answer nor its end is felt by the page's server.
"""

from __future__ import annotations

import multiprocessing
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.sharedctypes import Synchronized
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from netplan.core.errors import NetplanError, NoPlanError
from netplan.page.page_orders import PageOrders

if TYPE_CHECKING:
    from netplan.page.planning_stages import PlanningStages

__all__ = ["NetworkSource", "PlanningWorker", "StageAnswer"]


MOST_DEATHS: Final = 2
"""How often the process is replaced for the same orders (own): then it waits for others [-]."""


@dataclass(frozen=True, slots=True)
class NetworkSource:
    """What a worker reads its network from, as given on the command line."""

    network: str
    rules: Path | None = None
    mapping: Path | None = None
    cache: Path | None = None


@dataclass(frozen=True, slots=True)
class StageAnswer:
    """One answer to one revision of the orders.

    Parameters
    ----------
    revision : int
    stage : str
        ``bound`` by connectivity, ``option`` the best so far, ``options`` all so far, ``weather`` all with
        the coldest weather, in this order, ``options`` several times; ``progress`` with words on what is
        done; ``conflict`` with orders that contradict each other, and ``failed`` with why there is no plan;
        ``done``; ``replaced`` where the process had died.
    data : dict
    """

    revision: int
    stage: str
    data: dict[str, Any]


class PlanningWorker:
    """Sends orders to the process, and hands on what it answers.

    Parameters
    ----------
    source : NetworkSource
    tell : callable
        Called with every `StageAnswer` of the newest revision, from a thread of its own.
    """

    def __init__(self, source: NetworkSource, tell: Callable[[StageAnswer], None]) -> None:
        self._source, self._tell = source, tell
        self._context = multiprocessing.get_context("spawn")
        self._newest: Synchronized[int] = self._context.Value("q", 0)
        self._lock = threading.Lock()
        self._last: tuple[int, PageOrders] | None = None
        self._is_closed = False
        self._deaths = 0
        self._start()

    def _start(self) -> None:
        self._connection, theirs = self._context.Pipe()
        arguments = (self._source, theirs, self._newest)
        self._process = self._context.Process(target=_work, args=arguments, daemon=True)
        self._process.start()
        theirs.close()
        reader = threading.Thread(target=self._read, args=(self._connection,), daemon=True)
        reader.start()

    def ask(self, revision: int, orders: PageOrders) -> None:
        """Send orders; what was asked before is given up as soon as the process looks."""
        with self._lock:
            self._last = (revision, orders)
            self._newest.value = revision
            if self._deaths > MOST_DEATHS:
                self._start()
            self._deaths = 0
            self._send(revision, orders)

    def _send(self, revision: int, orders: PageOrders) -> None:
        # A process that has just died is replaced by the thread that reads from it, and asked again there.
        try:
            self._connection.send((revision, orders.model_dump(mode="json")))
        except (BrokenPipeError, OSError):
            return

    def _read(self, connection: Connection) -> None:
        while True:
            try:
                revision, stage, data = connection.recv()
            except (EOFError, OSError):
                break
            if revision == self._newest.value:
                self._tell(StageAnswer(revision, stage, data))
        with self._lock:
            if self._is_closed or connection is not self._connection:
                return
            self._process.join(timeout=5.0)
            self._deaths += 1
            if self._deaths > MOST_DEATHS:
                words = f"the planner has stopped {self._deaths} times on these orders; change them"
                self._tell(StageAnswer(self._newest.value, "failed", {"words": words, "reasons": []}))
                return
            self._start()
            if self._last is not None:
                revision, orders = self._last
                self._tell(
                    StageAnswer(revision, "replaced", {"words": "the planner had stopped; it runs again"})
                )
                self._send(revision, orders)

    def close(self) -> None:
        """End the process."""
        with self._lock:
            self._is_closed = True
            self._newest.value = -1
            self._process.terminate()
        self._process.join(timeout=5.0)
        self._connection.close()


def _work(source: NetworkSource, connection: Connection, newest: Synchronized[int]) -> None:
    """Read the network, then answer orders until the other end closes."""
    from netplan.page.planning_stages import CancelledError, PlanningStages
    from netplan.readers import read_mapping, read_network
    from netplan.rules import read_rules

    mapping = None if source.mapping is None else read_mapping(source.mapping)
    network = read_network(source.network, mapping=mapping, cache=source.cache, set_aside=True)
    stages = PlanningStages(network, read_rules(source.rules))

    def give_way() -> None:
        if connection.poll():
            raise CancelledError

    # What every order needs is worked out before the first one, and left off as soon as one comes.
    with suppress(NetplanError, CancelledError):
        stages.warm_up(give_way)
    with suppress(EOFError, OSError, KeyboardInterrupt):
        while True:
            revision, data = connection.recv()
            while connection.poll():
                revision, data = connection.recv()  # older ones that wait are not worth beginning

            def check(of: int = revision) -> None:
                if newest.value != of:
                    raise CancelledError

            def send(stage: str, answer: dict[str, Any], of: int = revision) -> None:
                connection.send((of, stage, answer))

            with suppress(CancelledError):
                _answer(stages, PageOrders.model_validate(data), check, send)


def _answer(
    stages: PlanningStages,
    orders: PageOrders,
    check: Callable[[], None],
    send: Callable[[str, dict[str, Any]], None],
) -> None:
    """Send every answer to some orders, at last that it is all or why there is none."""
    from netplan.page.order_conflicts import no_plan_in_words

    def send_if_newest(stage: str, answer: dict[str, Any]) -> None:
        check()
        send(stage, answer)

    try:
        stages.answer(orders, check, send_if_newest)
        send_if_newest("done", {})
    except NoPlanError as error:
        said = {"words": no_plan_in_words(error), "reasons": list(error.reasons)}
        send("failed", {**said, "cut_short": error.cut_short})
    except NetplanError as error:
        send("failed", {"words": str(error), "reasons": []})
