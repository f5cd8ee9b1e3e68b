"""Doubtful records that would change a plan are on the screen and in the work pack."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pypdf
import pytest
from rich.console import Console

from netplan.network.build import build_network
from netplan.network.work_section import WorkPart
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.terminal.plan_summary import print_summary
from netplan.planfile.plan_json import read_plan
from netplan.planfile.plan_result import PlanResult
from netplan.planning.make_plan import make_plan
from netplan.planning.request import PlanRequest
from netplan.rules import read_rules
from tests.laws.test_plan_trust import WORK, doubtful


@pytest.fixture(scope="module")
def result() -> PlanResult:
    network = build_network(doubtful(west=True))
    return make_plan(
        PlanRequest(network, (WorkPart(*WORK),), read_rules(None), air_temp_c=8.0, options=1, weather=False)
    )


def test_trust_is_on_the_screen_in_the_plan_and_in_the_work_pack(result: PlanResult, tmp_path: Path) -> None:
    rows = result.plan.options[0].trust.would_change
    assert rows
    screen = io.StringIO()
    print_summary(result.plan, Console(file=screen, width=300))
    assert "Records that would change option 1 if they were wrong" in screen.getvalue()
    assert rows[0].what in screen.getvalue()
    out = write_plan_folder(result, tmp_path / "plan")
    assert read_plan(out).options[0].trust == result.plan.options[0].trust
    pages = " ".join(page.extract_text() for page in pypdf.PdfReader(out / "work_pack.pdf").pages)
    plain = re.sub(r"\s+", "", pages)
    assert re.sub(r"\s+", "", "Records that would change this option if they were wrong") in plain
    for row in rows:
        assert f"{row.layer}{row.feature_id}" in plain
