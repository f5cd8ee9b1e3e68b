"""Blocks worked one after another here, or side by side on a Dask cluster (`cluster_workers`)."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import pyarrow as pa

from netplan.core.errors import BadInputError
from netplan.core.extras import require_extra
from netplan.screening.main_blocks import MainBlock, screen_block
from netplan.screening.main_evaluator import District, MainEvaluator

__all__ = ["Workers", "work_blocks"]

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
        When the scheduler cannot be reached, is lost and not back in time, or has no worker.
    """
    if workers.scheduler is None and (workers.count == 1 or len(blocks) < 2):
        return _here(blocks, district_of)
    from netplan.screening.cluster_workers import work_on_cluster

    return work_on_cluster(blocks, district_of, workers.scheduler, workers.count)


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
