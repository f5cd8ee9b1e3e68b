"""Warnings that name the doubtful records on which somebody's gas hangs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from netplan.network.finding_log import listed
from netplan.planfile.model import InDoubt

__all__ = ["doubt_warnings", "nobody_warnings"]

_SINGULAR: Final = {"mains": "main", "services": "service", "valves": "valve", "customers": "customer"}
_PROVE: Final = "prove it before the first stop"


def nobody_warnings(services: Sequence[str]) -> tuple[str, ...]:
    """Return a warning that names services that the work touches and on which nobody is recorded."""
    if not services:
        return ()
    named = f"{'service' if len(services) == 1 else 'services'} {listed(services)}"
    warning = (
        f"no customer is recorded on {named}, cut off by the work or kept by a feed: whoever lives there is "
        "on no list; call there"
    )
    return (warning,)


def doubt_warnings(in_doubt: Sequence[InDoubt]) -> tuple[str, ...]:
    """Return a warning for each doubtful record, those with priority customers first.

    Records of customers that only they themselves hang on share one warning, but for priority customers.
    """
    by_record: dict[tuple[str, str], list[InDoubt]] = {}
    for row in in_doubt:
        by_record.setdefault((row.layer, row.record_id), []).append(row)
    order = sorted(by_record, key=lambda key: (not any(r.priority for r in by_record[key]), key))
    own = [key for key in order if key[0] == "customers" and not by_record[key][0].priority]
    found = [_warning(key, by_record[key]) for key in order if key not in own]
    if own:
        named = ", ".join(record for _, record in own)
        found.append(
            f"records in doubt, customers {named}: how gas reaches them is not recorded or a guess, they "
            f"would lose gas if it is by what is cut off; {_PROVE}"
        )
    return tuple(found)


def _warning(key: tuple[str, str], rows: Sequence[InDoubt]) -> str:
    layer, record_id = key
    priority = [f"{row.priority.replace('_', ' ')} {row.id}" for row in rows if row.priority]
    number = f"{len(rows)} more customer{'s' if len(rows) > 1 else ''}"
    named = f", priority: {', '.join(priority)}" if priority else ""
    return (
        f"record in doubt, {_SINGULAR.get(layer, layer)} {record_id}: {number} would lose gas if it is "
        f"otherwise{named}; {_PROVE}"
    )
