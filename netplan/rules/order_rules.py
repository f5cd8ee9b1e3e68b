"""Rules of the order of the work: how long each step takes, tests of tightness, let-by limits and gauges."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from netplan.rules.rule_types import Millibars, Minutes, Number, RulesTable, Share

__all__ = ["DurationRules", "GaugeRules", "LetByRules", "PressureTestRules"]

_FINEST_SHARE = 0.2
"""A meter must show at least a fifth of the limit it is read against (common practice)."""


class DurationRules(RulesTable):
    """How long each part of the work takes [min]; stops take the ``minutes`` of their method.

    ``overrun`` multiplies what is promised to customers and what remains after the cut.
    """

    briefing: Minutes = 10.0
    excavation: Minutes = 180.0
    saddle: Minutes = 60.0
    drill: Minutes = 15.0
    baseline: Minutes = 10.0
    prove: Minutes = 15.0
    bypass: Minutes = 60.0
    bypass_per_m: Minutes = 1.0
    bypass_purge: Minutes = 20.0
    bypass_open: Minutes = 10.0
    open_valve: Minutes = 10.0
    door: Minutes = 5.0
    tally: Minutes = 5.0
    settle: Minutes = 5.0
    let_by: Minutes = 5.0
    vent: Minutes = 2.0
    purge_branch: Minutes = 5.0
    gas_free: Minutes = 15.0
    cut_and_fit: Minutes = 60.0
    joint: Minutes = 30.0
    tie_in_test: Minutes = 5.0
    new_pipe_test: Minutes = 60.0
    withdraw: Minutes = 6.0
    through_flow: Minutes = 10.0
    bypass_off: Minutes = 30.0
    cap: Minutes = 20.0
    backfill: Minutes = 120.0
    overrun: Annotated[Number, Field(ge=1, le=3)] = 1.25


class LetByRules(RulesTable):
    """Limits of let-by: through an outer barrier, an inner barrier, a single one; pressure in a space.

    Flows are of the gas that comes out at the vent [l/min]. A meter must show at least ``resolution_share``
    of the limit it is read against. ``withdraw_mbar`` is the largest difference across a barrier that is
    taken out.
    """

    outer_l_min: Annotated[Number, Field(gt=0, le=1000)] = 5.0
    inner_l_min: Annotated[Number, Field(gt=0, le=1000)] = 0.5
    single_l_min: Annotated[Number, Field(gt=0, le=1000)] = 0.1
    space_mbar: Millibars = 0.5
    resolution_share: Annotated[Share, Field(gt=0, le=_FINEST_SHARE)] = _FINEST_SHARE
    withdraw_mbar: Millibars = 2.0


class PressureTestRules(RulesTable):
    """Tests of tightness and strength [mbar gauge, min].

    A new pipe is tested at the larger of ``new_pipe_mop_share`` times its MOP and ``new_pipe_least_mbar``.
    """

    saddle_mbar: Millibars = 350.0
    saddle: Minutes = 5.0
    feed_mbar: Millibars = 100.0
    feed: Minutes = 15.0
    new_pipe_mop_share: Annotated[Number, Field(ge=1, le=10)] = 1.5
    new_pipe_least_mbar: Millibars = 3450.0


class GaugeRules(RulesTable):
    """How far gauges read wrong, and the widest band round an expected reading [mbar].

    ``finest_error_mbar`` is that of the finest gauge there is: where one would have to be finer still, an
    option is none.
    """

    error_mbar: Millibars = 0.1
    finest_error_mbar: Millibars = 0.02
    band_mbar: Annotated[Millibars, Field(gt=0)] = 1.0
