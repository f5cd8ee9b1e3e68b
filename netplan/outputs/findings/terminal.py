"""Findings on the screen, grouped by what to do first, readable at 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from typing import Final

from rich.console import Console
from rich.text import Text

from netplan.core.errors import in_brief, shown
from netplan.core.findings import Finding, Severity
from netplan.network.checks.finding_groups import Group, group_of, meaning_of

__all__ = ["print_findings"]

_WIDEST: Final = 100
"""Lines are no wider than this on a wider screen (own) [characters]."""
_FAULTS: Final = 5
"""Different faults of one code that are shown (own)."""
_FEATURES: Final = 8
"""Features with the same fault that are named (own)."""
_WHATEVER: Final = 60
"""Longest id that is shown whole (own) [characters]."""


def print_findings(findings: Sequence[Finding], screen: Console, *, too_many: str = "") -> None:
    """Print the findings by what to do first, with counts for each group and code.

    Parameters
    ----------
    findings : sequence of Finding
    screen : rich.console.Console
    too_many : str
        Why the errors of single pipes stop every plan, where they do.
    """
    if not findings:
        screen.print("No findings.")
        return
    width = min(screen.width, _WIDEST)
    groups = {group: [f for f in findings if group_of(f) is group] for group in Group}
    _print(screen, "What to do first", style="bold")
    for place, (group, members) in enumerate(groups.items(), start=1):
        _print(screen, f"  {place}  {group.title:<36}{len(members):>7,}")
    for place, (group, members) in enumerate(groups.items(), start=1):
        if members:
            _print(screen, "")
            _print(
                screen, f"{place}  {group.title[0].upper()}{group.title[1:]}: {len(members):,}", style="bold"
            )
            advice = too_many if too_many and group is Group.PLANS_NEAR else group.advice
            _wrapped(screen, advice, width, "   ")
            _print_codes(members, screen, width)
    _print(screen, "")
    _wrapped(screen, "Every one of them stands in the files of --json and --layer.", width, "")
    counts = {severity: sum(f.severity is severity for f in findings) for severity in Severity}
    _print(screen, ", ".join(_counted(count, severity.value) for severity, count in counts.items() if count))


def _print_codes(members: Sequence[Finding], screen: Console, width: int) -> None:
    by_code: dict[str, list[Finding]] = {}
    for finding in members:
        by_code.setdefault(finding.code, []).append(finding)
    for code, found in by_code.items():
        _print(screen, "")
        head = f"   {code}: {len(found):,}"
        _print(screen, head, style="bold")
        if meaning_of(code):
            _wrapped(screen, f"{meaning_of(code)}.", width, "     ")
        by_mend: dict[str, list[Finding]] = {}
        for finding in found:
            by_mend.setdefault(finding.mend, []).append(finding)
        left, unsaid = _FAULTS, 0
        for mend, same in by_mend.items():
            if left <= 0:
                unsaid += len(same)
                continue
            _wrapped(screen, f"Do: {in_brief(mend)}", width, "     ", "         ")
            left, more = _print_faults(same, screen, width, left)
            unsaid += more
        if unsaid:
            _print(screen, f"     and {unsaid:,} more")


def _print_faults(found: Sequence[Finding], screen: Console, width: int, left: int) -> tuple[int, int]:
    """Print faults with the features that have them; return how many may still be, and features not told."""
    by_fault: dict[tuple[str, str], list[str]] = {}
    for finding in found:
        by_fault.setdefault((finding.layer, finding.what), []).append(finding.feature_id)
    unsaid = 0
    for (layer, what), ids in by_fault.items():
        if left <= 0:
            unsaid += len(ids)
            continue
        left -= 1
        named = ", ".join(shown(id_, _WHATEVER) for id_ in ids[:_FEATURES])
        more = f" and {len(ids) - _FEATURES:,} more" if len(ids) > _FEATURES else ""
        where = f"{layer} {named}{more}".strip() or "network"
        _wrapped(screen, f"- {where}: {in_brief(what)}", width, "     ", "       ")
    return left, unsaid


def _counted(count: int, word: str) -> str:
    return f"{count:,} {word}" + ("" if count == 1 else "s")


def _wrapped(screen: Console, text: str, width: int, indent: str, more: str | None = None) -> None:
    """Print text in lines of a width; a word is never broken, so that ids can be copied."""
    lines: Iterable[str] = textwrap.wrap(
        text,
        width,
        initial_indent=indent,
        subsequent_indent=indent if more is None else more,
        break_long_words=False,
        break_on_hyphens=False,
    )
    for line in lines:
        _print(screen, line)


def _print(screen: Console, line: str, style: str = "") -> None:
    screen.print(Text(line, style=style), soft_wrap=True)
