"""Blocks worked side by side by the workers of a Dask cluster.

The district goes to the cluster as a task of its own, whose input the scheduler keeps: when the worker that
holds it is lost, another makes it again, and so with every block. When the scheduler itself is lost, the run
waits for it to be back and hands out again what was not finished. No worker reads from disk, so no
folder needs to be shared, and nothing depends on who works.
"""

from __future__ import annotations

import contextlib
import logging
import pickle
import threading
import time
import warnings
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

import pyarrow as pa

from netplan import __version__
from netplan.core.errors import BadInputError, NetplanError
from netplan.screening.main_blocks import MainBlock, screen_block
from netplan.screening.main_evaluator import District, MainEvaluator

__all__ = ["local_cluster", "work_on_cluster"]

_ONE_AT_A_TIME = threading.Lock()
"""Threads of one worker share a district, and what is solved on it keeps state."""
MOST_LOST: Final = 5
"""Workers that may be lost under one block, and schedulers in a row without a block finished, before the run
is given up (own) [-]."""
_BUSY: Final = 3
"""Blocks handed out a worker at a time: the rest waits here, so that the scheduler stays small (own) [-]."""
_FIRST_S: Final = 20.0
"""Longest wait for a scheduler at the start (own) [s]: a wrong address is to be said soon."""
_LOOK_S: Final = 2.0
"""How often it is looked whether scheduler and workers are there, while no block is finished (own) [s]."""
KEPT: Final = "finished mains are kept; continue with --resume"

DistrictOf = Callable[[int], tuple[District, Mapping[int, int]]]
Finished = Iterator[tuple[MainBlock, pa.Table]]


class _SchedulerLostError(Exception):
    """The connection to the scheduler ended, or another scheduler answers."""


def work_on_cluster(
    blocks: list[MainBlock], district_of: DistrictOf, scheduler: str | None, count: int
) -> Finished:
    """Yield each block with its rows as it is finished by a worker.

    Parameters
    ----------
    blocks : list of MainBlock
        Sorted by district.
    district_of : callable
        Returns a district by number, and the rows of its mains by their rows in the whole network.
    scheduler : str or None
        Address of a running Dask scheduler; None for a cluster of its own on this machine.
    count : int
        Processes of that cluster.

    Raises
    ------
    BadInputError
        When the scheduler cannot be reached, is lost and not back in time, or has no worker.
    """
    waiting = list(reversed(blocks))
    with contextlib.ExitStack() as stack:
        stack.enter_context(_quiet())
        address = scheduler or stack.enter_context(local_cluster(count)).scheduler_address
        lost = 0
        while waiting:
            before = len(waiting)
            try:
                with _client(address, after_loss=lost > 0) as client:
                    yield from _Connection(client, district_of, address).worked(waiting)
            except _SchedulerLostError:
                lost = 1 if len(waiting) < before else lost + 1
                if lost > MOST_LOST:
                    raise BadInputError(
                        f"--scheduler {address}: lost {lost} times in a row; {KEPT}"
                    ) from None


class _Connection:
    """What is handed out over one connection to a scheduler."""

    def __init__(self, client: Any, district_of: DistrictOf, address: str) -> None:
        self._client, self._district_of, self._address = client, district_of, address
        self._scheduler = client.scheduler_info(n_workers=0)["id"]
        self._evaluators: dict[int, Any] = {}
        self._local: dict[int, Mapping[int, int]] = {}
        self._asked: dict[Any, MainBlock] = {}

    def worked(self, waiting: list[MainBlock]) -> Finished:
        """Yield blocks as they are finished; what is not is back in `waiting` when the connection is lost."""
        try:
            self._hand_out(waiting)
            while self._asked:
                for future in self._some_done():
                    block = self._asked[future]
                    rows = self._answer(future, block)
                    del self._asked[future]
                    future.release()
                    yield block, rows
                self._forget_districts(waiting)
                self._hand_out(waiting)
        finally:
            with contextlib.suppress(Exception):
                self._client.cancel(list(self._asked))
            waiting += sorted(self._asked.values(), key=lambda block: -block.number)

    def _workers(self) -> int:
        """Return how many workers there are.

        Raises
        ------
        _SchedulerLostError
        """
        known = self._client.scheduler_info(n_workers=-1)
        if self._client.status != "running" or known.get("id") != self._scheduler:
            raise _SchedulerLostError
        return len(known["workers"])

    def _hand_out(self, waiting: list[MainBlock]) -> None:
        if not waiting:
            return
        room = _BUSY * max(1, self._workers())
        while waiting and len(self._asked) < room:
            block = waiting[-1]
            if block.district not in self._evaluators:
                district, self._local[block.district] = self._district_of(block.district)
                self._evaluators[block.district] = self._sent(district)
            mains = block.mains.tolist()
            rows = [self._local[block.district][main] for main in mains]
            evaluator = self._evaluators[block.district]
            future = self._client.submit(_worked, evaluator, rows, mains, __version__, pure=False)
            self._asked[future] = waiting.pop()

    def _sent(self, district: District) -> Any:
        payload = pickle.dumps(district, protocol=pickle.HIGHEST_PROTOCOL)
        with warnings.catch_warnings():
            # It warns of large inputs; a district is one on purpose, so that a lost one can be made again.
            warnings.simplefilter("ignore")
            return self._client.submit(_made, payload, __version__, pure=False)

    def _forget_districts(self, waiting: list[MainBlock]) -> None:
        still = {block.district for block in (*self._asked.values(), *waiting)}
        for gone in [number for number in self._evaluators if number not in still]:
            del self._evaluators[gone], self._local[gone]

    def _some_done(self) -> list[Any]:
        """Return futures that are finished, by block, when there are any.

        Raises
        ------
        _SchedulerLostError
        BadInputError
            When there has been no worker for as long as a scheduler is waited for.
        """
        import distributed

        alone_since: float | None = None
        while True:
            try:
                done = (
                    _library(distributed)
                    .wait(list(self._asked), timeout=_LOOK_S, return_when="FIRST_COMPLETED")
                    .done
                )
            except _library(distributed).TimeoutError:
                if self._workers():
                    alone_since = None
                    continue
                alone_since = alone_since or time.monotonic()
                if time.monotonic() - alone_since >= _patience_s():
                    raise BadInputError(
                        f"--scheduler {self._address}: no worker for {_patience_s():g} s; start workers "
                        f"(`dask worker {self._address}`); {KEPT}"
                    ) from None
            except _library(distributed).client.FuturesCancelledError:
                raise _SchedulerLostError from None
            else:
                return sorted(done, key=lambda future: self._asked[future].number)

    def _answer(self, future: Any, block: MainBlock) -> pa.Table:
        import distributed

        try:
            answer = future.result()
        except Exception as error:  # noqa: BLE001 - whatever it is, it is said
            if self._client.status != "running" or isinstance(
                error, _library(distributed).client.FutureCancelledError
            ):
                raise _SchedulerLostError from None
            answer = _words_of(error)
        if isinstance(answer, NetplanError):
            raise answer
        if isinstance(answer, str):
            raise BadInputError(f"block {block.number + 1}: no worker could finish it ({answer}); {KEPT}")
        return pa.ipc.open_stream(pa.py_buffer(answer)).read_all()


def _made(payload: bytes, version: str) -> MainEvaluator | NetplanError | str:
    """Make the evaluator of a district on a worker, where it stays for all its blocks."""
    try:
        _check_version(version)
        return MainEvaluator(pickle.loads(payload))  # noqa: S301 - made by `_sent` a moment ago
    except NetplanError as error:
        return error
    except Exception as error:  # noqa: BLE001 - said by the run
        return _words_of(error)


def _worked(
    evaluator: MainEvaluator | NetplanError | str, local: list[int], mains: list[int], version: str
) -> bytes | NetplanError | str:
    """Return the rows of a block, or what went wrong.

    Errors are results: one whose traceback cannot be sent never reaches the run, which would wait for ever.
    """
    if not isinstance(evaluator, MainEvaluator):
        return evaluator
    try:
        _check_version(version)
        with _ONE_AT_A_TIME:
            table = screen_block(evaluator, local, mains)
    except NetplanError as error:
        return error
    except Exception as error:  # noqa: BLE001 - said by the run
        return _words_of(error)
    sink = pa.BufferOutputStream()
    with pa.ipc.new_stream(sink, table.schema) as writer:
        writer.write_table(table)
    return bytes(sink.getvalue().to_pybytes())


def _words_of(error: Exception) -> str:
    return f"{type(error).__name__}: {' '.join(str(error).split())[:200]}"


def _check_version(wanted: str) -> None:
    """Refuse to work for another version of the program, whose figures may be others.

    Raises
    ------
    BadInputError
    """
    if wanted != __version__:
        raise BadInputError(
            f"a worker runs version {__version__} of the program, this screen is made by {wanted}; install "
            "one version on all machines, then --resume"
        )


def _library(module: Any) -> Any:
    """Return a library without types as what it is."""
    return module


def _patience_s() -> float:
    """Return how long a lost scheduler and the first worker are waited for: Dask's own figure [s]."""
    import dask

    return float(dask.utils.parse_timedelta(dask.config.get("distributed.comm.timeouts.connect")))


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keep the library's own lines from the terminal: what is lost is said in one line of ours."""
    import distributed  # sets its levels when it is loaded

    name = distributed.__name__
    names = [name, *(one for one in logging.root.manager.loggerDict if one.startswith(f"{name}."))]
    before = {name: logging.getLogger(name).level for name in names}
    for name in names:
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        for name, level in before.items():
            logging.getLogger(name).setLevel(level)


@contextlib.contextmanager
def local_cluster(count: int) -> Iterator[Any]:
    """Run a Dask cluster of processes on this machine, which nobody else can reach.

    Parameters
    ----------
    count : int
        Worker processes, of one thread each.

    Yields
    ------
    distributed.LocalCluster
        The cluster; its `scheduler_address` is what `Workers.scheduler` takes. It ends with the block.
    """
    import dask
    import distributed

    # It serves no pages, and its own port is any free one: somebody else may have the usual one.
    quiet = {
        "distributed.scheduler.http.routes": [],
        "distributed.worker.http.routes": [],
        "distributed.scheduler.allowed-failures": MOST_LOST,
    }
    with (
        dask.config.set(quiet),
        _library(distributed).LocalCluster(
            n_workers=count,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            dashboard_address=None,
            scheduler_kwargs={"dashboard_address": "127.0.0.1:0"},
            silence_logs=50,
        ) as cluster,
    ):
        yield cluster


@contextlib.contextmanager
def _client(address: str, *, after_loss: bool) -> Iterator[Any]:
    """Connect to a scheduler.

    Raises
    ------
    BadInputError
        When it cannot be reached.
    """
    import dask
    import distributed

    patience = _patience_s() if after_loss else min(_FIRST_S, _patience_s())
    with dask.config.set({"distributed.admin.large-graph-warning-threshold": "10GB"}):
        try:
            client = _library(distributed).Client(address, timeout=patience)
        except (OSError, ValueError) as error:
            raise BadInputError(
                f"--scheduler {address}: lost, and not back within {patience:g} s; {KEPT}"
                if after_loss
                else f"--scheduler {address}: cannot be reached ({error})"
            ) from None
        try:
            yield client
        finally:
            client.close(timeout=_LOOK_S)
