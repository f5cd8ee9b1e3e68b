"""An option whose order breaks a law is no option: it is dropped, the others move up, none is an error."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

import pytest

from netplan.cli import main
from netplan.cli.sample import DEMO_WORK, sample_network
from netplan.core.errors import NoPlanError
from netplan.core.findings import Severity
from netplan.network.work_section import WorkPart
from netplan.planfile import model as pm
from netplan.planning import lawful_options as module
from netplan.planning.lawful_options import lawful_options
from netplan.planning.make_plan import make_plan
from netplan.planning.option_records.option_state import StateSource
from netplan.procedure.order_laws import LawBreach
from netplan.rules import default_rules
from tests.support.order_example import conditions, lawful_option
from tests.support.sample_plan import sample_request

NOTHING = cast(Any, None)


def _source(rank: int, *, lawful: bool) -> StateSource:
    option = lawful_option()
    proof = pm.Proof(
        optimal=True,
        lower_bound=100.0 * rank,
        gap=0.0,
        reason=f"lowest burden on the recorded data for rank {rank}: no further set of stops can be cheaper",
    )
    update: dict[str, Any] = {"rank": rank, "burden": 100.0 * rank, "proof": proof}
    if not lawful:
        # Nobody reads the gauges before the work begins.
        update["steps"] = tuple(step.model_copy(update={"readings": ()}) for step in option.steps)
    return StateSource(NOTHING, option.model_copy(update=update), NOTHING, NOTHING, ())


def test_lawful_options_stay_as_they_are() -> None:
    sources = (_source(1, lawful=True), _source(2, lawful=True))
    kept = lawful_options(sources, conditions(), default_rules())
    assert kept.sources == sources
    assert kept.options == tuple(source.option for source in sources)
    assert not kept.dropped
    assert not kept.findings()


def test_an_unlawful_option_is_dropped_and_the_others_move_up() -> None:
    sources = (_source(1, lawful=False), _source(2, lawful=True), _source(3, lawful=True))
    kept = lawful_options(sources, conditions(), default_rules())
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
    (finding,) = lawful_options(sources, conditions(), default_rules()).findings()
    assert finding.code == "option-dropped"
    assert finding.severity is Severity.WARNING
    assert "rank 2 is not listed" in finding.what
    assert "law 2 at step " in finding.what
    assert "\n" not in finding.what


@pytest.mark.parametrize("more_beyond", [False, True])
def test_without_a_lawful_option_there_is_no_plan(more_beyond: bool) -> None:
    sources = (_source(1, lawful=False), _source(2, lawful=False))
    with pytest.raises(NoPlanError) as raised:
        lawful_options(sources, conditions(), default_rules()).require(more_beyond=more_beyond)
    assert raised.value.exit_code == 3
    assert raised.value.cut_short is more_beyond
    assert [reason.split(":")[0] for reason in raised.value.reasons] == ["option 1", "option 2"]
    assert all("law 2 at step " in reason for reason in raised.value.reasons)


def _breaks(burden: float) -> Callable[..., tuple[LawBreach, ...]]:
    breach = LawBreach(16, 40, ("S2",), "people in the trench behind one barrier")
    return lambda option, *_: (breach,) if option.burden == burden else ()


def test_the_search_goes_on_past_an_unlawful_option(monkeypatch: pytest.MonkeyPatch) -> None:
    request = replace(sample_request(WorkPart(*DEMO_WORK)), weather=False)
    longer = make_plan(replace(request, options=3)).plan
    first, second, third = longer.options
    monkeypatch.setattr(module, "law_breaches", _breaks(first.burden))
    result = make_plan(replace(request, options=2))
    assert len(result.states) == 2
    for place, (left, was) in enumerate(zip(result.plan.options, (second, third), strict=True), 1):
        assert left.rank == place
        assert left.model_copy(update={"rank": was.rank, "proof": was.proof}) == was
        assert left.proof.lower_bound == was.proof.lower_bound
        assert "rank 1 is dropped, as its order breaks law 16" in left.proof.reason
    (finding,) = [row for row in result.plan.findings if row.code == "option-dropped"]
    assert "law 16 at step 40: people in the trench behind one barrier (S2)" in finding.what
    # Two that break a law in a row: the second is dropped by a search of its own.
    worse = (first.burden, second.burden)
    monkeypatch.setattr(module, "law_breaches", lambda o, *_: [x for b in worse for x in _breaks(b)(o)])
    (left,) = make_plan(replace(request, options=1)).plan.options
    assert left.burden == third.burden
    assert "rank 1, 2 is dropped" in left.proof.reason


def test_without_a_lawful_option_the_command_ends_with_3_and_names_the_law(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setattr(
        module, "law_breaches", lambda *_: (LawBreach(16, 40, ("S2",), "people behind one barrier"),)
    )
    main_id, from_m, to_m = DEMO_WORK
    work = ["--main", main_id, "--from", str(from_m), "--to", str(to_m)]
    out = tmp_path / "plan"
    quick = ["--options", "1", "--no-weather", "--no-papers"]
    command = ["plan", str(sample_network()), *work, "--out", str(out), *quick]
    monkeypatch.setattr(sys, "argv", ["gas-netplan", *command])
    with pytest.raises(SystemExit) as left:
        main()
    assert left.value.code == 3
    told = capsys.readouterr().err
    assert "no option found has an order of the work that keeps every law" in told
    assert "law 16 at step 40" in told
    assert not out.exists()
