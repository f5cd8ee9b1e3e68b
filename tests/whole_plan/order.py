"""The order of the work of a plan folder: no option breaks a law, and none was dropped for one."""

from __future__ import annotations

import re
from pathlib import Path

from netplan.planfile.plan_json import read_plan
from netplan.procedure.order_laws import law_breaches
from netplan.rules.read_rules import checked_rules
from tests.whole_plan.case import Deviation

__all__ = ["check_laws", "is_broken"]


def is_broken(why: str) -> bool:
    """Return whether a law is broken otherwise than by a margin that takes a gauge finer than any there is."""
    laws = re.findall(r"law \d+(?: at step \d+)?: ([^;]*)", why)
    return not laws or any(
        not one.startswith("the margin there needs a gauge with an error of") for one in laws
    )


def check_laws(folder: Path) -> list[Deviation]:
    """Return the laws that the options of a plan break, and those for which options were dropped."""
    plan = read_plan(folder)
    rules = checked_rules(plan.rules, "plan.json")
    found = [
        Deviation("law of the order broken", option.rank, breach.words())
        for option in plan.options
        for breach in law_breaches(option, plan.conditions, rules)
    ]
    return found + [
        Deviation("option dropped for a law", 0, finding.what)
        for finding in plan.findings
        if finding.code == "option-dropped" and is_broken(finding.what)
    ]
