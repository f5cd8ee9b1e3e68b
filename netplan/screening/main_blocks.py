"""The mains of a network by district and in blocks; finished blocks are kept so that a run can go on."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from netplan.core.arrays import Ints
from netplan.core.errors import BadInputError
from netplan.network.model import Network
from netplan.network.topology import components
from netplan.screening.main_evaluator import MainEvaluator
from netplan.screening.screen_columns import SCHEMA

__all__ = [
    "BLOCK_MAINS",
    "FULL_MAINS",
    "BlockFolder",
    "MainBlock",
    "district_nodes",
    "screen_block",
    "split_blocks",
]


BLOCK_MAINS: Final = 50
"""Mains in a block (own): some seconds of work, so that little is lost and little is sent [-]."""
FULL_MAINS: Final = 10
"""The same where the best option of each is priced (own): some seconds of work as well [-]."""
_QUICK_MAINS: Final = 500
"""The same at most where no pressures are solved (own) [-]."""
_QUICK_BLOCKS: Final = 200
"""Blocks that a district is to make at least, before they become larger than `BLOCK_MAINS` (own) [-]."""


@dataclass(frozen=True, slots=True, eq=False)
class MainBlock:
    """Some mains of one district.

    Parameters
    ----------
    number : int
        Place among all blocks of a run.
    district : int
    mains : int array
        Rows of the mains in the whole network.
    """

    number: int
    district: int
    mains: Ints


def split_blocks(district: NDArray[np.int32], *, quick: bool = False, full: bool = False) -> list[MainBlock]:
    """Return the mains of each district in blocks; they do not depend on who works.

    Parameters
    ----------
    district : int array
        District of each main.
    quick : bool
        Whether a main takes a millisecond and not a tenth of a second: larger blocks then.
    full : bool
        Whether it takes most of a second: smaller blocks then.
    """
    blocks: list[MainBlock] = []
    order = np.argsort(district, kind="stable")
    for rows in np.split(order, np.flatnonzero(np.diff(district[order])) + 1) if len(order) else []:
        most = FULL_MAINS if full else BLOCK_MAINS
        if quick:
            most = min(max(len(rows) // _QUICK_BLOCKS, BLOCK_MAINS), _QUICK_MAINS)
        for first in range(0, len(rows), most):
            chosen = rows[first : first + most]
            blocks.append(MainBlock(len(blocks), int(district[chosen[0]]), chosen.astype(np.int64)))
    return blocks


def screen_block(evaluator: MainEvaluator, local: Sequence[int], mains: Sequence[int]) -> pa.Table:
    """Return the rows of some mains of a district.

    Parameters
    ----------
    evaluator : MainEvaluator
    local, mains : sequences of int
        Rows of the mains in the district and in the whole network.
    """
    rows = [row | {"row": whole} for row, whole in zip(evaluator.rows(local), mains, strict=True)]
    return pa.Table.from_pylist(rows, schema=SCHEMA)


class BlockFolder:
    """A folder beside the target that holds one Parquet file a finished block.

    Files carry the key of everything that decides their figures, so that none is taken for another question.

    Parameters
    ----------
    folder : Path
    key : str
        Of network content, rules, question and version.
    resume : bool
        Whether to go on with what is there; otherwise it is thrown away.

    Raises
    ------
    BadInputError
        When the folder cannot be used.
    """

    def __init__(self, folder: Path, key: str, *, resume: bool) -> None:
        self.folder, self._key = folder, key
        try:
            if folder.exists() and any(not _is_ours(path) for path in folder.iterdir()):
                raise BadInputError(f"{folder}: holds other files; move them away, or choose another target")
            if not resume:
                shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir(exist_ok=True)
        except OSError as error:
            raise BadInputError(f"{folder}: cannot be used ({error.strerror or error})") from None

    def read(self, block: MainBlock) -> pa.Table | None:
        """Return a finished block; None where it is not there whole."""
        try:
            table = pq.read_table(self._path(block))
        except (OSError, pa.ArrowException):
            return None
        fits = table.schema.equals(SCHEMA) and np.array_equal(table["row"].to_numpy(), block.mains)
        return table if fits else None

    def keep(self, block: MainBlock, table: pa.Table) -> None:
        """Keep a finished block; it appears whole or not at all."""
        path = self._path(block)
        part = path.with_suffix(".part")
        try:
            pq.write_table(table, part)
            part.replace(path)
        except OSError as error:
            raise BadInputError(
                f"{path}: cannot be written ({error.strerror or error}); free space, then --resume"
            ) from None

    def remove(self) -> None:
        """Remove the folder: the results are in the target."""
        shutil.rmtree(self.folder, ignore_errors=True)

    def _path(self, block: MainBlock) -> Path:
        name = hashlib.sha256(f"{self._key}:{block.number}:".encode() + block.mains.tobytes()).hexdigest()
        return self.folder / f"{name[:40]}.parquet"


def _is_ours(path: Path) -> bool:
    return path.suffix in (".parquet", ".part") and len(path.stem) == 40


def district_nodes(network: Network) -> NDArray[np.int32]:
    """Return the district of each node, numbered by their first mains: joined by pipes, open or closed.

    A closed valve does not part districts here, because a zone may reach up to it from both sides.
    """
    part = components(network, np.ones(len(network.pieces), dtype=bool))
    # Numbers follow the pieces, which follow the ids: the order of nodes does not matter.
    met = part[network.pieces.from_node]
    _, first = np.unique(met, return_index=True)
    number = np.full(int(part.max(initial=-1)) + 1, -1, dtype=np.int32)
    number[met[np.sort(first)]] = np.arange(len(first))
    return np.asarray(number[part])
