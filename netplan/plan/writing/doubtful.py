"""Warnings that name the doubtful records on which somebody's gas hangs."""

from __future__ import annotations

from collections.abc import Sequence

from netplan.plan.model import InDoubt

__all__ = ["doubt_warnings"]

_SINGULAR = {"mains": "main", "services": "service", "valves": "valve", "customers": "customer"}


def doubt_warnings(in_doubt: Sequence[InDoubt]) -> tuple[str, ...]:
    """Return a warning for each doubtful record, those with priority customers first."""
    by_record: dict[tuple[str, str], list[InDoubt]] = {}
    for row in in_doubt:
        by_record.setdefault((row.layer, row.record_id), []).append(row)
    order = sorted(by_record, key=lambda key: (not any(r.priority for r in by_record[key]), key))
    return tuple(_warning(key, by_record[key]) for key in order)


def _warning(key: tuple[str, str], rows: Sequence[InDoubt]) -> str:
    layer, record_id = key
    priority = [f"{row.id} ({row.priority})" for row in rows if row.priority]
    number = f"{len(rows)} customer{'s' if len(rows) > 1 else ''}"
    named = f", priority: {', '.join(priority)}" if priority else ""
    return (
        f"record in doubt: {_SINGULAR.get(layer, layer)} {record_id}: {number} not on the list of those off "
        f"would lose gas if it is otherwise{named}; see the list in doubt and prove it before the first stop"
    )
