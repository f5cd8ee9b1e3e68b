"""The demo's plan of the sample town, made once a test process, without papers and weather."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from datetime import datetime
from functools import cache
from pathlib import Path

from netplan.cli.sample import DEMO_WORK, sample_network
from netplan.network.work_section import WorkPart
from netplan.outputs.plan_folder import write_plan_folder
from netplan.outputs.reader_choices import Choices
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import read_network
from netplan.rules import read_rules


def sample_request(work: WorkPart, start: str | None = None, hours: float | None = None) -> PlanRequest:
    """Return a request for two options on the sample town, without weather."""
    return PlanRequest(
        network=read_network(sample_network()),
        parts=(work,),
        rules=read_rules(None),
        start=None if start is None else datetime.fromisoformat(start),
        hours=hours,
        weather=False,
        options=2,
    )


@cache
def sample_plan() -> Path:
    """Return the plan folder; it must only be read."""
    home = Path(tempfile.mkdtemp(prefix="sample-plan-"))
    atexit.register(shutil.rmtree, home, ignore_errors=True)
    request = PlanRequest(
        network=read_network(sample_network()),
        parts=(WorkPart(*DEMO_WORK),),
        rules=read_rules(None),
        weather=False,
    )
    return write_plan_folder(make_plan(request), home / "plan", choices=Choices(papers=False))
