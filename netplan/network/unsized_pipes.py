"""Live pipes without a usable size: taken as not live, so that they stop no plan that lies far from them.

Such a pipe is joined like any other; its pieces are closed. What a plan does with it open, in the least and
in the greatest size of its kind, can then be told on the same arrays.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from netplan.core.arrays import Flags, Ints
from netplan.core.findings import Finding, Noticed, Severity
from netplan.network.flat_geometry import Lines
from netplan.network.model import Network, Pipes, SetAside
from netplan.network.normalised_layers import NormalisedLayers
from netplan.network.text_column import TextColumn
from netplan.network.vocabulary import Status
from netplan.rules.rule_set import BadDataRules

__all__ = [
    "SIZE_CODES",
    "UnsizedPipe",
    "give_placeholder_sizes",
    "kept_live",
    "may_be_set_aside",
    "pipes_without_size",
    "taken_as_live",
    "taken_as_not_live",
    "too_many",
    "unsized_pipes",
]

SIZE_CODES: Final = frozenset({"impossible-sdr", "impossible-size", "missing-size", "not-a-number"})
"""Codes of errors that concern the size of one pipe and nothing else of it."""
_LINES: Final = ("mains", "services")
_OD_RANGE_M: Final = (0.01, 2.5)
_OD_M, _WALL_M, _BORE_M = 0.11, 0.01, 0.09


@dataclass(frozen=True, slots=True)
class UnsizedPipe:
    """A live pipe without a usable size.

    Parameters
    ----------
    layer : str
        ``mains`` or ``services``.
    row : int
        Row in the layer's lines.
    id : str
        Id of the line.
    error : Finding
        The first error about it.
    """

    layer: str
    row: int
    id: str
    error: Finding


def pipes_without_size(layers: NormalisedLayers) -> tuple[UnsizedPipe, ...]:
    """Return the live pipes whose size is missing or impossible, mains first, by row."""
    found: list[UnsizedPipe] = []
    for name in _LINES:
        table = layers.lines[name].table
        od, wall, bore = layers.sizes[name]
        sound = np.isfinite(od) & np.isfinite(bore) & (bore > 0.3 * od) & (bore < od) & (wall > 0.0)
        sound &= (od >= _OD_RANGE_M[0]) & (od <= _OD_RANGE_M[1])
        for row in np.flatnonzero(~sound & (table.code["status"] == Status.LIVE)).tolist():
            what = "its size is not on record, or impossible"
            ident = table.text["id"][row]
            error = Finding(
                "missing-size", name, ident, Severity.ERROR, what, "give od_mm and a wall or bore"
            )
            found.append(UnsizedPipe(name, row, ident, error))
    return tuple(found)


def may_be_set_aside(finding: Noticed) -> bool:
    """Return whether a finding is an error about the size of one main or service, and nothing else."""
    of_a_pipe = finding.layer in _LINES and bool(finding.feature_id)
    return finding.severity == Severity.ERROR and of_a_pipe and finding.code in SIZE_CODES


def too_many(mains: tuple[int, int], services: tuple[int, int], limits: BadDataRules) -> str:
    """Return why pipes are too many to be set aside; empty where they are not.

    Parameters
    ----------
    mains, services : (int, int)
        How many have no usable size, and how many there are, live ones alone.
    limits : BadDataRules
        The rules' limits.
    """
    bad = mains[0] + services[0]
    if bad > limits.pipes_max:
        return f"{bad} pipes have no usable size, more than bad_data.pipes_max, {limits.pipes_max}"
    for name, (some, count) in (("mains", mains), ("services", services)):
        if some > limits.share * count:
            many = f"{some} of {count} {name} have no usable size"
            return f"{many}, a larger share than bad_data.share, {limits.share:g}"
    return ""


def unsized_pipes(layers: NormalisedLayers, errors: Collection[Finding]) -> tuple[UnsizedPipe, ...] | None:
    """Return the live pipes that errors are about, mains first, by id; None where these cannot be set aside.

    They cannot where an error is no `may_be_set_aside`, names a pipe whose geometry is not known, or leaves
    its layer without a sound pipe to take a size from. A pipe that is not live carries nothing, whatever its
    size: it never stands in the way and is not among them.
    """
    if not all(map(may_be_set_aside, errors)):
        return None
    found: list[UnsizedPipe] = []
    for name in _LINES:
        about = {error.feature_id: error for error in reversed(list(errors)) if error.layer == name}
        lines = layers.lines[name]
        rows = _rows_named(lines, about)
        if not set(about) <= {
            name for row in rows for name in (lines.feature_id[row], lines.table.text["id"][row])
        }:
            return None
        is_live = lines.table.code["status"] == Status.LIVE
        mine = [row for row in rows if is_live[row]]
        bore = layers.sizes[name][2]
        sound = is_live & np.isfinite(bore) & (bore > 0)
        sound[mine] = False
        if mine and not sound.any():
            return None
        for row in mine:
            name_of = lines.table.text["id"][row]
            error = about.get(name_of) or about[lines.feature_id[row]]
            found.append(UnsizedPipe(name, row, name_of, error))
    return tuple(found)


def give_placeholder_sizes(layers: NormalisedLayers, pipes: Sequence[UnsizedPipe]) -> None:
    """Give pipes a size for joining alone; `taken_as_not_live` gives them another."""
    for pipe in pipes:
        for column, value in zip(layers.sizes[pipe.layer], (_OD_M, _WALL_M, _BORE_M), strict=True):
            column[pipe.row] = value


def taken_as_not_live(network: Network, without: Sequence[UnsizedPipe]) -> Network:
    """Return the network with some of its pipes taken as not live: all their pieces are closed.

    Parameters
    ----------
    network : Network
        Joined from layers that `give_placeholder_sizes` was given.
    without : sequence of UnsizedPipe
    """
    if not without:
        return network
    aside = _set_aside(network.pipes, without)
    pieces = network.pieces
    own = np.isin(pieces.pipe, aside.pipe) & (pieces.valve < 0)
    return replace(
        network,
        pipes=_sized_like(network.pipes, aside.pipe.astype(np.int64), aside.like_least.astype(np.int64)),
        pieces=replace(pieces, is_open=pieces.is_open & ~own),
        set_aside=aside,
    )


def kept_live(network: Network, without: Sequence[UnsizedPipe]) -> Network:
    """Return the network with pipes without a usable size live, in the least size of their kind.

    They stand in `Network.set_aside`, so that no stop goes on them and whoever reads their size is told.

    Parameters
    ----------
    network : Network
        Joined from layers that `give_placeholder_sizes` was given.
    without : sequence of UnsizedPipe
    """
    if not without:
        return network
    aside = _set_aside(network.pipes, without)
    rows, like = aside.pipe.astype(np.int64), aside.like_least.astype(np.int64)
    return replace(network, pipes=_sized_like(network.pipes, rows, like), set_aside=aside)


def _set_aside(pipes: Pipes, without: Sequence[UnsizedPipe]) -> SetAside:
    rows = np.array([_row_of(pipes, pipe) for pipe in without], dtype=np.int64)
    placed = np.flatnonzero(rows >= 0)  # one without length was left out
    placed = placed[np.argsort(rows[placed], kind="stable")]
    bad = rows[placed]
    sound = np.ones(len(pipes), dtype=bool)
    sound[bad] = False
    like = np.array([_like(pipes, row, sound) for row in bad.tolist()], dtype=np.int64).reshape(-1, 2)
    errors = [without[at].error for at in placed.tolist()]
    return SetAside(
        pipe=bad.astype(np.int32),
        code=TextColumn(error.code for error in errors),
        what=TextColumn(error.what for error in errors),
        mend=TextColumn(error.mend for error in errors),
        like_least=like[:, 0].astype(np.int32),
        like_greatest=like[:, 1].astype(np.int32),
    )


def taken_as_live(network: Network, size: Literal["least", "greatest"]) -> Network:
    """Return the network with the pipes set aside live, in the least or greatest size of their kind."""
    aside, pieces = network.set_aside, network.pieces
    own = np.isin(pieces.pipe, aside.pipe) & (pieces.valve < 0)
    like = aside.like_least if size == "least" else aside.like_greatest
    return replace(
        network,
        pipes=_sized_like(network.pipes, aside.pipe.astype(np.int64), like.astype(np.int64)),
        pieces=replace(pieces, is_open=pieces.is_open | own),
        set_aside=SetAside(),
    )


def _rows_named(lines: Lines, names: Collection[str]) -> list[int]:
    """Return the rows of the lines that have one of some names, or come from a feature that has."""
    wanted = pa.array(sorted(names), pa.string())
    hit = pc.or_(
        pc.is_in(lines.table.text["id"].arrow, value_set=wanted),
        pc.is_in(lines.feature_id.arrow, value_set=wanted),
    )
    rows: list[int] = np.flatnonzero(hit.to_numpy(zero_copy_only=False)).tolist()
    return rows


def _row_of(pipes: Pipes, pipe: UnsizedPipe) -> int:
    if pipe.layer == "mains":
        return pipes.id.find(pipe.id, 0, pipes.n_mains)
    return pipes.id.find(pipe.id, pipes.n_mains)


def _like(pipes: Pipes, row: int, sound: Flags) -> tuple[int, int]:
    """Return the sound pipes of least and greatest bore of its layer, and of its system if there are any."""
    of_layer = np.flatnonzero(sound & ((np.arange(len(pipes)) < pipes.n_mains) == (row < pipes.n_mains)))
    of_system = of_layer[pipes.system[of_layer] == pipes.system[row]]
    rows = of_system if len(of_system) else of_layer
    if not len(rows):
        return row, row  # all are without: the placeholder stays
    bore = pipes.bore_m[rows]
    return int(rows[bore.argmin()]), int(rows[bore.argmax()])


def _sized_like(pipes: Pipes, rows: Ints, like: Ints) -> Pipes:
    changed = {}
    for name in ("od_m", "wall_m", "bore_m", "sdr"):
        column = getattr(pipes, name).copy()
        column[rows] = column[like]
        changed[name] = column
    return replace(pipes, **changed)
