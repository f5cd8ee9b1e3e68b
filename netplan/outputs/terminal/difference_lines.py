"""The notices of a difference, as lines of text."""

from __future__ import annotations

from netplan.outputs.difference_folder import WrittenDifferences
from netplan.outputs.notice_differences import Change

__all__ = ["difference_lines"]


def difference_lines(written: WrittenDifferences) -> list[str]:
    """Return how many meter points each change is for, the letters, and what must be known besides.

    Parameters
    ----------
    written : WrittenDifferences
    """
    rows, old, new = written.rows, written.old, written.new
    plans = (("Old plan", old), ("new plan", new))
    lines = [
        "; ".join(f"{name}: option {one.option}, {_start(one.plan.conditions.start)}" for name, one in plans)
    ]
    for change in Change:
        own = [one for one in rows if change in one.changes]
        if own:
            named = sum(bool(one.place.priority) for one in own)
            lines.append(f"  {change.value}: {len(own)}" + (f", priority {named}" if named else ""))
    lines.append(
        f"{len(rows)} meter points differ, for {written.holding} the earlier letter holds"
        if rows
        else f"No notice differs: for all {written.holding} meter points the earlier letter holds"
    )
    if written.letters == 0:
        lines.append("No letter is needed")
    elif written.letters is not None:
        lines.append(f"{written.letters} letter{'s' * (written.letters != 1)}")
    return [*lines, *(f"Mind: {note}" for note in written.notes)]


def _start(start: str | None) -> str:
    return (start or "any working day").replace("T", " ")
