"""An option whose order breaks a law is no option: it is dropped, the others move up, none is an error."""

from __future__ import annotations

from typing import Any, cast

import pytest

from netplan.core.errors import NoPlanError
from netplan.core.findings import Severity
from netplan.planfile import model as pm
from netplan.planning.lawful_options import lawful_options
from netplan.planning.option_records.option_state import StateSource
from netplan.rules import default_rules
from tests.support.order_example import conditions, lawful_option

NOTHING = cast(Any, None)


def _source(rank: int, *, lawful: bool) -> StateSource:
    option = lawful_option()
    proof = pm.Proof(
        optimal=True,
        lower_bound=100.0 * rank,
        gap=0.0,
        reason=f"lowest burden on the recorded data for rank {rank}: nothing beyond can be cheaper",
    )
    update: dict[str, Any] = {"rank": rank, "burden": 100.0 * rank, "proof": proof}
    if not lawful:
        # Nobody reads the gauges before the work begins.
        update["steps"] = tuple(step.model_copy(update={"readings": ()}) for step in option.steps)
    return StateSource(NOTHING, option.model_copy(update=update), NOTHING, NOTHING, ())


def test_lawful_options_stay_as_they_are() -> None:
    sources = (_source(1, lawful=True), _source(2, lawful=True))
    kept = lawful_options(sources, conditions(), default_rules(), more_beyond=False)
    assert kept.sources == sources
    assert kept.options == tuple(source.option for source in sources)
    assert not kept.dropped
    assert not kept.findings()


def test_an_unlawful_option_is_dropped_and_the_others_move_up() -> None:
    sources = (_source(1, lawful=False), _source(2, lawful=True), _source(3, lawful=True))
    kept = lawful_options(sources, conditions(), default_rules(), more_beyond=True)
    assert [option.rank for option in kept.options] == [1, 2]
    assert [option.burden for option in kept.options] == [200.0, 300.0]
    assert [one.rank for one in kept.dropped] == [1]
    assert {2, 4, 5, 27} <= {breach.law for breach in kept.dropped[0].breaches}
    for option in kept.options:
        proof = option.proof
        assert proof.optimal
        assert proof.lower_bound == option.burden
        assert proof.reason.startswith(f"lowest burden on the recorded data for rank {option.rank}: ")
        assert "what was found at rank 1 is dropped, as its order breaks law 2, 4, 5" in proof.reason


def test_a_finding_says_which_rank_was_dropped_and_by_which_law() -> None:
    sources = (_source(1, lawful=True), _source(2, lawful=False))
    (finding,) = lawful_options(sources, conditions(), default_rules(), more_beyond=False).findings()
    assert finding.code == "option-dropped"
    assert finding.severity is Severity.WARNING
    assert "rank 2 is not listed" in finding.what
    assert "law 2 at step " in finding.what
    assert "\n" not in finding.what


@pytest.mark.parametrize("more_beyond", [False, True])
def test_without_a_lawful_option_there_is_no_plan(more_beyond: bool) -> None:
    sources = (_source(1, lawful=False), _source(2, lawful=False))
    with pytest.raises(NoPlanError) as raised:
        lawful_options(sources, conditions(), default_rules(), more_beyond=more_beyond)
    assert raised.value.exit_code == 3
    assert raised.value.cut_short is more_beyond
    assert [reason.split(":")[0] for reason in raised.value.reasons] == ["option 1", "option 2"]
    assert all("law 2 at step " in reason for reason in raised.value.reasons)
