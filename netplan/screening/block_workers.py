"""Blocks worked one after another here, or side by side on a Dask cluster.

The district goes to the cluster as a task of its own, whose input the scheduler keeps: when the worker that
holds it is lost, another makes it again, and so with every block. Nothing is worked out twice otherwise, and
nothing depends on who works.
"""

from __future__ import annotations

import contextlib
import pickle
import warnings
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import pyarrow as pa

from netplan.core.errors import BadInputError, NetplanError
from netplan.core.extras import require_extra
from netplan.screening.main_blocks import MainBlock, screen_block
from netplan.screening.main_evaluator import District, MainEvaluator

__all__ = ["Workers", "local_cluster", "work_blocks"]

MOST_LOST: Final = 5
"""Workers that may be lost under one block before it is given up (own) [-]."""
_BUSY: Final = 3
"""Blocks handed out a worker at a time: the rest waits here, so that the scheduler stays small."""

DistrictOf = Callable[[int], tuple[District, Mapping[int, int]]]
Finished = Iterator[tuple[MainBlock, pa.Table]]


@dataclass(frozen=True, slots=True)
class Workers:
    """Who works.

    Parameters
    ----------
    count : int
        Processes on this machine; 1 works in this one.
    scheduler : str, optional
        Address of a running Dask scheduler instead.

    Raises
    ------
    BadInputError
        When there are none, or too many.
    MissingExtraError
        When more than one process is to work and the extra `cluster` is not installed.
    """

    count: int = 1
    scheduler: str | None = None

    def __post_init__(self) -> None:
        if not 1 <= self.count <= 1024:
            raise BadInputError(f"{self.count} workers cannot be; give 1 to 1024")
        if self.scheduler is not None or self.count > 1:
            require_extra("cluster", "A screen worked by several processes")


def work_blocks(blocks: list[MainBlock], district_of: DistrictOf, workers: Workers) -> Finished:
    """Yield each block with its rows as it is finished.

    Parameters
    ----------
    blocks : list of MainBlock
        Sorted by district.
    district_of : callable
        Returns a district by number, and the rows of its mains by their rows in the whole network.
    workers : Workers

    Raises
    ------
    BadInputError
        When the scheduler cannot be reached.
    """
    if workers.scheduler is None and (workers.count == 1 or len(blocks) < 2):
        return _here(blocks, district_of)
    return _on_cluster(blocks, district_of, workers)


def _here(blocks: list[MainBlock], district_of: DistrictOf) -> Finished:
    number, evaluator = -1, None
    rows: Mapping[int, int] = {}
    for block in blocks:
        if evaluator is None or block.district != number:
            number = block.district
            district, rows = district_of(number)
            evaluator = MainEvaluator(district)
        mains = block.mains.tolist()
        yield block, screen_block(evaluator, [rows[main] for main in mains], mains)


def _made(payload: bytes) -> MainEvaluator:
    """Make the evaluator of a district on a worker, where it stays for all its blocks."""
    return MainEvaluator(pickle.loads(payload))  # noqa: S301 - made by `_on_cluster` a moment ago


def _worked(evaluator: MainEvaluator, local: list[int], mains: list[int]) -> bytes:
    sink = pa.BufferOutputStream()
    table = screen_block(evaluator, local, mains)
    with pa.ipc.new_stream(sink, table.schema) as writer:
        writer.write_table(table)
    return bytes(sink.getvalue().to_pybytes())


def _on_cluster(blocks: list[MainBlock], district_of: DistrictOf, workers: Workers) -> Finished:
    import distributed

    with _client(workers) as client:
        waiting = list(reversed(blocks))
        benches: dict[int, Any] = {}
        local: dict[int, Mapping[int, int]] = {}
        asked: dict[Any, MainBlock] = {}
        done = _library(distributed).as_completed()

        def hand_out() -> None:
            room = _BUSY * max(1, len(client.scheduler_info(n_workers=-1)["workers"]))
            while waiting and len(asked) < room:
                block = waiting.pop()
                if block.district not in benches:
                    district, local[block.district] = district_of(block.district)
                    benches[block.district] = _sent(client, district)
                mains = block.mains.tolist()
                rows = [local[block.district][main] for main in mains]
                future = client.submit(
                    _worked, benches[block.district], rows, mains, pure=False, retries=MOST_LOST
                )
                asked[future] = block
                done.add(future)

        try:
            hand_out()
            for future in done:
                block = asked.pop(future)
                yield block, pa.ipc.open_stream(pa.py_buffer(_answer(future, block))).read_all()
                future.release()
                still = {other.district for other in (*asked.values(), *waiting)}
                for gone in [number for number in benches if number not in still]:
                    del benches[gone], local[gone]
                hand_out()
        finally:
            with contextlib.suppress(Exception):
                client.cancel(list(asked))


def _library(module: Any) -> Any:
    """Return a library without types as what it is."""
    return module


def _sent(client: Any, district: District) -> Any:
    payload = pickle.dumps(district, protocol=pickle.HIGHEST_PROTOCOL)
    with warnings.catch_warnings():
        # It warns of large inputs; a district is one on purpose, so that a lost one can be made again.
        warnings.simplefilter("ignore")
        return client.submit(_made, payload, pure=False, retries=MOST_LOST)


def _answer(future: Any, block: MainBlock) -> bytes:
    try:
        return bytes(future.result())
    except NetplanError:
        raise
    except Exception as error:
        words = " ".join(str(error).split())[:200]
        raise BadInputError(
            f"block {block.number + 1}: no worker could finish it ({type(error).__name__}: {words}); "
            "finished mains are kept; continue with --resume"
        ) from error


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
    with (
        dask.config.set({"distributed.scheduler.http.routes": [], "distributed.worker.http.routes": []}),
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
def _client(workers: Workers) -> Iterator[Any]:
    import dask
    import distributed

    quiet = {
        "distributed.scheduler.allowed-failures": MOST_LOST,
        "distributed.admin.large-graph-warning-threshold": "10GB",
    }
    with dask.config.set(quiet), contextlib.ExitStack() as stack:
        address: Any = workers.scheduler
        if address is None:
            address = stack.enter_context(local_cluster(workers.count))
        try:
            client = stack.enter_context(_library(distributed).Client(address, timeout="20s"))
        except (OSError, ValueError) as error:
            raise BadInputError(f"--scheduler {workers.scheduler}: cannot be reached ({error})") from None
        yield client
