"""Customers in doubt as the papers and the map show them: one entry a customer, each record in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from netplan.planfile.model import InDoubt, Option

__all__ = ["CustomerInDoubt", "customers_in_doubt", "record_words"]

_SINGULAR: Final = {"mains": "main", "services": "service", "valves": "valve", "customers": "customer record"}


@dataclass(frozen=True, slots=True)
class CustomerInDoubt:
    """A customer and the doubtful records that its gas hangs on, by layer and id."""

    first: InDoubt
    rows: tuple[InDoubt, ...]

    @property
    def records(self) -> str:
        """The records in words, parted by commas."""
        return ", ".join(record_words(row) for row in self.rows)


def record_words(row: InDoubt) -> str:
    """Return the doubtful record of a row in words, such as ``valve V-9``."""
    return f"{_SINGULAR.get(row.layer, row.layer)} {row.record_id}"


def customers_in_doubt(option: Option) -> tuple[CustomerInDoubt, ...]:
    """Return the customers in doubt, those with a priority first, then by id."""
    rows: dict[str, list[InDoubt]] = {}
    for row in option.in_doubt:
        rows.setdefault(row.id, []).append(row)
    found = [CustomerInDoubt(own[0], tuple(own)) for own in rows.values()]
    return tuple(sorted(found, key=lambda one: (not one.first.priority, one.first.id)))
