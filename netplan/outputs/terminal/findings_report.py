"""Findings in the terminal, grouped by what to do first, and what was not read of a network."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

from rich.console import Console
from rich.text import Text

from netplan.core.errors import in_brief, shown
from netplan.core.findings import READING_CODES, Finding, Noticed, Severity
from netplan.network.checks.finding_groups import Group, group_of, meaning_of
from netplan.outputs.number_format import METRIC, Figures
from netplan.outputs.terminal.wrapped_lines import print_list, wrapped

__all__ = ["print_findings", "print_unread"]


_WIDEST: Final = 100
"""Lines are no wider than this in a wider terminal (own) [characters]."""
_FAULTS: Final = 5
"""Different faults of one code that are shown (own)."""
_FEATURES: Final = 8
"""Features with the same fault that are named (own)."""
_WHATEVER: Final = 60
"""Longest id that is shown whole (own) [characters]."""


def print_findings(
    findings: Sequence[Finding], console: Console, *, too_many: str = "", units: Figures = METRIC
) -> None:
    """Print the findings by what to do first, with counts for each group and code.

    Parameters
    ----------
    findings : sequence of Finding
    console : rich.console.Console
    too_many : str
        Why the errors of single pipes stop every plan, where they do.
    units : Figures
        How figures are written.
    """
    if units.name != "metric":
        findings = [
            replace(one, what=units.sentence(one.what), mend=units.sentence(one.mend)) for one in findings
        ]
    if not findings:
        console.print("No findings.")
        return
    width = min(console.width, _WIDEST)
    groups = {group: [f for f in findings if group_of(f) is group] for group in Group}
    _print(console, "What to do first", style="bold")
    for place, (group, members) in enumerate(groups.items(), start=1):
        _print(console, f"  {place}  {group.title:<36}{len(members):>7,}")
    for place, (group, members) in enumerate(groups.items(), start=1):
        if members:
            _print(console, "")
            _print(
                console, f"{place}  {group.title[0].upper()}{group.title[1:]}: {len(members):,}", style="bold"
            )
            advice = too_many if too_many and group is Group.PLANS_NEAR else group.advice
            _wrapped(console, advice, width, "   ")
            _print_codes(members, console, width, units)
    _print(console, "")
    _wrapped(console, "Every one of them stands in the files of --json and --layer.", width, "")
    counts = {severity: sum(f.severity is severity for f in findings) for severity in Severity}
    _print(console, ", ".join(_counted(count, severity.value) for severity, count in counts.items() if count))


def _print_codes(members: Sequence[Finding], console: Console, width: int, units: Figures) -> None:
    by_code: dict[str, list[Finding]] = {}
    for finding in members:
        by_code.setdefault(finding.code, []).append(finding)
    for code, found in by_code.items():
        _print(console, "")
        head = f"   {code}: {len(found):,}"
        _print(console, head, style="bold")
        if meaning_of(code):
            _wrapped(console, f"{units.sentence(meaning_of(code))}.", width, "     ")
        by_mend: dict[str, list[Finding]] = {}
        for finding in found:
            by_mend.setdefault(finding.mend, []).append(finding)
        left, unsaid = _FAULTS, 0
        for mend, same in by_mend.items():
            if left <= 0:
                unsaid += len(same)
                continue
            _wrapped(console, f"Do: {in_brief(mend)}", width, "     ", "         ")
            left, more = _print_faults(same, console, width, left)
            unsaid += more
        if unsaid:
            _print(console, f"     and {unsaid:,} more")


def _print_faults(found: Sequence[Finding], console: Console, width: int, left: int) -> tuple[int, int]:
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
        _wrapped(console, f"- {where}: {in_brief(what)}", width, "     ", "       ")
    return left, unsaid


def _counted(count: int, word: str) -> str:
    return f"{count:,} {word}" + ("" if count == 1 else "s")


def _wrapped(console: Console, text: str, width: int, indent: str, more: str | None = None) -> None:
    """Print text in lines of a width; a word is never broken, so that ids can be copied."""
    for line in wrapped(f"{indent}{text}", width, more=len(indent if more is None else more)):
        _print(console, line)


def _print(console: Console, line: str, style: str = "") -> None:
    console.print(Text(line, style=style), soft_wrap=True)


_SHOWN: Final = 8
_LONGEST_NOTE: Final = 300


def print_unread(findings: Iterable[Noticed], console: Console) -> None:
    """Print the findings about what was not read, or read under another name; nothing where there are none.

    Parameters
    ----------
    findings : iterable of Noticed
        Findings of a network or of a plan, in their order; others are left out.
    console : rich.console.Console
    """
    rows = [row for row in findings if row.code in READING_CODES]
    if not rows:
        return
    print_list(console, "Not read, or read under another name", _lines(rows))


def _lines(rows: list[Noticed]) -> list[str]:
    """Return warnings about what was not read, a line each, and the notes in a line for each kind."""
    grave = [row for row in rows if row.severity != "note"]
    lines = [f"{row.severity}: {row.layer or 'network'}: {row.what}" for row in grave[:_SHOWN]]
    if len(grave) > _SHOWN:
        lines.append(f"… and {len(grave) - _SHOWN} more warnings (gas-netplan check)")
    notes: dict[str, list[str]] = {}
    for row in rows:
        if row.severity == "note":
            notes.setdefault(row.code, []).append(f"{row.layer}: {row.what}".removeprefix(": "))
    for said in notes.values():
        line = "; ".join(said)
        lines.append(
            line if len(line) <= _LONGEST_NOTE else f"{line[:_LONGEST_NOTE]}… (all: gas-netplan check)"
        )
    return lines
