"""What to do first: every finding belongs to one of five groups, by the table of its code and its weight."""

from __future__ import annotations

import csv
from enum import Enum
from functools import cache
from importlib import resources
from typing import Final

from netplan.core.findings import Noticed, Severity
from netplan.network.unsized_pipes import may_be_set_aside

__all__ = ["Group", "group_of", "meaning_of"]

_TABLES: Final = ("finding_codes.csv", "finding_codes_elsewhere.csv")


class Group(Enum):
    """A group of findings, in the order in which they are to be mended."""

    EVERY_PLAN = "every-plan"
    PLANS_NEAR = "plans-near"
    LISTS = "lists"
    FIGURES = "figures"
    NOTES = "notes"

    @property
    def title(self) -> str:
        """What the findings of the group do, in a few words."""
        return _TITLES[self][0]

    @property
    def advice(self) -> str:
        """What that means for whoever mends them, in a sentence."""
        return _TITLES[self][1]


_TITLES: Final = {
    Group.EVERY_PLAN: (
        "stops every plan",
        "No plan is made until all of these are mended, wherever the work is.",
    ),
    Group.PLANS_NEAR: (
        "stops only plans near it",
        "Plans far from it are still made: they take the pipe as not live where that changes nothing.",
    ),
    Group.LISTS: (
        "can make a list of customers wrong",
        "Plans are made, but these records decide who is on their lists.",
    ),
    Group.FIGURES: (
        "can make figures wrong",
        "Plans are made, but sizes, pressures, flows or stops depend on these records.",
    ),
    Group.NOTES: ("notes", "Worth knowing; no figure depends on them."),
}


def group_of(finding: Noticed) -> Group:
    """Return the group of a finding, or of a row of a plan's findings.

    An error belongs to the first group, but for the size of a single pipe, and a note to the last. A warning
    belongs to the group of its code; one that no table holds, as plans alone have, can make figures wrong.
    """
    if finding.severity == Severity.ERROR:
        return Group.PLANS_NEAR if may_be_set_aside(finding) else Group.EVERY_PLAN
    if finding.severity == Severity.NOTE:
        return Group.NOTES
    return Group(_codes()[finding.code]["group"]) if finding.code in _codes() else Group.FIGURES


def meaning_of(code: str) -> str:
    """Return what a code stands for, in a sentence without full stop; empty where no table holds it."""
    return _codes().get(code, {}).get("meaning", "")


@cache
def _codes() -> dict[str, dict[str, str]]:
    folder = resources.files("netplan.network.checks")
    texts = [folder.joinpath(name).read_text(encoding="utf-8") for name in _TABLES]
    return {row["code"]: row for text in texts for row in csv.DictReader(text.splitlines())}
