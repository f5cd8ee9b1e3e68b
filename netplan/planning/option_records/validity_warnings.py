"""Where the flow of a plan leaves the range that the equations hold for, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from netplan.core.arrays import Flags, Floats, Ints
from netplan.core.constants import PA_PER_MBAR
from netplan.core.findings import Finding, Severity
from netplan.hydraulics import LIMITS, FlowLinks, FlowState, links_beyond, transition_allowance_pa
from netplan.network.finding_log import listed
from netplan.network.model import Network
from netplan.network.work_section import WorkSection
from netplan.planning.context import PlanningContext
from netplan.planning.evaluated_option import EvaluatedOption
from netplan.planning.final_network import FinalNetwork, hose_names
from netplan.planning.option_records.customer_records import Relighting

__all__ = ["validity_findings", "validity_warnings"]


NAMED: Final = 5
NOTABLE_ALLOWANCE_PA: Final = 10.0
"""Doubt about the drop along one pipe or hose that people are told of (own) [Pa]."""


def validity_findings(whole: PlanningContext, section: WorkSection) -> tuple[Finding, ...]:
    """Return what is beyond the range before any stop in the pressure system of the work, one row a limit.

    Parameters
    ----------
    whole : PlanningContext
        Of the whole network.
    section : WorkSection
        The work.
    """
    network, links = whole.request.network, whole.base.links
    own = network.pipes.system[network.pieces.pipe] == network.pipes.system[section.pipe[0]]
    found = []
    for limit, hit in zip(LIMITS, _any(links, whole, whole.before_by_hour), strict=True):
        beyond = hit & own
        if beyond.any():
            named = _named(network, np.flatnonzero(beyond), ())
            words = f"{limit.what} in {named} before any stop"
            found.append(Finding(limit.code, "flow", "", Severity.WARNING, words, limit.mend))
    return tuple(found)


@dataclass(frozen=True, slots=True, eq=False)
class _Group:
    """States that are solved on the same links.

    Parameters
    ----------
    links : FlowLinks
    piece : int array, shape (links,)
        The piece that each link is part of; -1 for a hose.
    hoses : tuple of str
        The feed of each hose, in the order of their links.
    states : tuple of (str, tuple of FlowState)
        Name of each state, and what it is in each hour.
    """

    links: FlowLinks
    piece: Ints
    hoses: tuple[str, ...]
    states: tuple[tuple[str, tuple[FlowState, ...]], ...]


def validity_warnings(
    context: PlanningContext,
    option: EvaluatedOption,
    final: FinalNetwork,
    feed_ids: Sequence[str | None],
    relighting: Relighting | None,
) -> tuple[str, ...]:
    """Return what the work takes beyond the range, in any of its states and hours; feeds among it.

    What is so before any stop is told by `validity_findings`.

    Parameters
    ----------
    context : PlanningContext
    option : EvaluatedOption
    final : FinalNetwork
        The option's final network.
    feed_ids : sequence of (str or None)
        Id of the feed of each deficient part.
    relighting : Relighting or None
    """
    groups = _groups(context, option, final, feed_ids, relighting)
    before = _any(context.base.links, context, context.before_by_hour)
    pieces: list[list[Ints]] = [[] for _ in LIMITS]
    hoses: list[list[str]] = [[] for _ in LIMITS]
    first = [""] * len(LIMITS)
    for group in groups:
        known = np.where(group.piece >= 0, before[:, group.piece], False)
        for name, states in group.states:
            every = _any(group.links, context, states) & ~known
            for place in np.flatnonzero(every.any(axis=1)).tolist():
                new = every[place]
                first[place] = first[place] or name
                pieces[place].append(group.piece[new])
                of_hoses = zip(group.hoses, new[group.piece < 0], strict=True)
                hoses[place] += [hose for hose, is_so in of_hoses if is_so]
    found = []
    for place in [place for place, name in enumerate(first) if name]:
        limit, on = LIMITS[place], np.unique(np.concatenate(pieces[place]))
        named = _named(context.request.network, on, hoses[place])
        found.append(f"{limit.what} in {named}, first in the state “{first[place]}”: {limit.mend}")
    return (*found, *_transition(context, groups))


def _groups(
    context: PlanningContext,
    option: EvaluatedOption,
    final: FinalNetwork,
    feed_ids: Sequence[str | None],
    relighting: Relighting | None,
) -> tuple[_Group, ...]:
    """Return the states of the work; those without a feed, and relighting, are on the network as recorded."""
    own = np.arange(context.base.links.count)
    of_work = tuple((judged.name, judged.states) for judged in option.work.every)
    if option.fed is None:
        work = _Group(context.base.links, own, (), of_work)
    else:
        work = _Group(final.flow.links, _pieces(final), hose_names(option, feed_ids), of_work)
    if relighting is None:
        return (work,)
    return work, _Group(context.base.links, own, (), ((relighting.words(), (relighting.state,)),))


def _pieces(final: FinalNetwork) -> Ints:
    """Return the piece that each link of the final network is part of; -1 for a hose."""
    row = final.stopped_link
    return np.where(row >= 0, final.stopped.piece[row], -1)


def _any(links: FlowLinks, context: PlanningContext, states: Sequence[FlowState]) -> Flags:
    """Return for each limit and link whether it is beyond in one of the states."""
    found = np.zeros((len(LIMITS), links.count), dtype=bool)
    for state in states:
        found |= np.array(links_beyond(links, state, context.conditions))
    return found


def _transition(context: PlanningContext, groups: tuple[_Group, ...]) -> tuple[str, ...]:
    """Say where the work takes flows between laminar and turbulent, where it matters to a pressure."""
    pieces, pipes, hoses = context.request.network.pieces, context.request.network.pipes, groups[0].hoses
    count = len(pipes)
    # The pipes, then the hoses.
    more = np.zeros(count + len(hoses))
    for group in groups:
        row = np.where(group.piece >= 0, pieces.pipe[group.piece], -1)
        row[group.piece < 0] = count + np.arange(len(group.hoses))
        for _, states in group.states:
            np.maximum(more, _along(context, group.links, states, row, len(more)), out=more)
    more -= _along(context, context.base.links, context.before_by_hour, pieces.pipe, len(more))
    rows = np.flatnonzero(more >= NOTABLE_ALLOWANCE_PA)
    if not len(rows):
        return ()
    # Rounded, so that the order does not hang on the last bit.
    rows = rows[np.argsort(-np.round(more[rows], 3), kind="stable")]
    names = dict.fromkeys(pipes.id[k] if k < count else hoses[k - count] for k in rows.tolist())
    allowance_mbar = math.ceil(float(more.max()) / PA_PER_MBAR * 10.0) / 10.0
    words = (
        "flow lies between laminar and turbulent, where friction is a convention, in "
        f"{listed(list(names), NAMED)}: it may drop up to {allowance_mbar:.1f} mbar more there"
    )
    return (words,)


def _along(
    context: PlanningContext,
    links: FlowLinks,
    states: Sequence[FlowState],
    row: NDArray[np.integer[Any]],
    count: int,
) -> Floats:
    """Return the greatest allowance of all states along each of `count` pipes and hoses [Pa]."""
    most = np.zeros(count)
    for state in states:
        allowance = transition_allowance_pa(links, state, context.conditions)
        np.maximum(most, np.bincount(row, weights=allowance, minlength=count), out=most)
    return most


def _named(network: Network, piece: NDArray[np.integer[Any]], hoses: Sequence[str]) -> str:
    """Name hoses, then pipes by the length concerned, the longest first."""
    piece = piece[piece >= 0]
    pieces, pipes = network.pieces, network.pipes
    length_m = np.bincount(
        pieces.pipe[piece], weights=pieces.to_m[piece] - pieces.from_m[piece], minlength=len(pipes)
    )
    rows = np.flatnonzero(length_m > 0.0)
    rows = rows[np.argsort(-np.round(length_m[rows], 3), kind="stable")]
    return listed(list(dict.fromkeys([*hoses, *(pipes.id[row] for row in rows.tolist())])), NAMED)
