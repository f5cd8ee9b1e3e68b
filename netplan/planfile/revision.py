"""The revision code of a plan: short enough for the foot of a page, and made from what the plan says."""

from __future__ import annotations

from typing import Final

from netplan.planfile.model import Plan, ReplacedPlan
from netplan.planfile.plan_json import plan_digest

__all__ = ["code_of_digest", "replaced_plan", "revision_code"]

_GROUP: Final = 4


def code_of_digest(digest: str) -> str:
    """Return the revision code of a plan's digest: its first eight hex digits, such as ``7F3A-19C2``."""
    return f"{digest[:_GROUP]}-{digest[_GROUP : 2 * _GROUP]}".upper()


def revision_code(plan: Plan) -> str:
    """Return the revision code of a plan.

    It follows from what the plan says, its provenance apart, and from no clock: the same network, work, rules
    and orders have the same code, and papers with another code are of another plan. Two plans that differ
    share a code once in 4,300 million pairs.
    """
    return code_of_digest(plan_digest(plan))


def replaced_plan(plan: Plan) -> ReplacedPlan:
    """Return how a plan is named in the one that supersedes it."""
    digest = plan_digest(plan)
    return ReplacedPlan(revision=code_of_digest(digest), plan_sha256=digest, start=plan.conditions.start)
