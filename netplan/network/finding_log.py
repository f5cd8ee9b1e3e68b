"""The log of findings while layers are read and joined, without an object per feature of a huge layer."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from netplan.core.findings import Finding, Severity, in_order
from netplan.network.text_column import TextColumn

__all__ = ["MOST_PER_KIND", "FindingLog", "listed"]

MOST_PER_KIND: Final = 1000
"""Findings of one kind in one layer that are listed one by one; the rest are counted in one line."""
MOST_NAMED: Final = 50
"""Features that one finding names; the rest are counted (own)."""


class FindingLog:
    """Findings noticed so far."""

    def __init__(self) -> None:
        self._found: list[Finding] = []

    def add(self, code: str, layer: str, feature_id: str, severity: Severity, what: str, mend: str) -> None:
        """Notice one thing."""
        self._found.append(Finding(code, layer, feature_id, severity, what, mend))

    def add_each(
        self,
        code: str,
        layer: str,
        ids: TextColumn | None,
        rows: NDArray[Any],
        severity: Severity,
        what: str | Callable[[int], str],
        mend: str,
        xy_m: NDArray[np.float64] | None = None,
    ) -> None:
        """Notice the same thing about several features.

        Parameters
        ----------
        ids : TextColumn or None
            Ids of the whole layer; None where it has none, then the row number stands in.
        rows : int or bool array
            The features concerned: rows of `ids`, or a mask over them.
        what : str or callable
            What is wrong; a callable is given the row.
        xy_m : float array, shape (n, 2), optional
            Places of the whole layer in the working CRS [m].
        """
        chosen = np.flatnonzero(rows) if rows.dtype == np.bool_ else np.asarray(rows)
        for row in chosen[:MOST_PER_KIND].tolist():
            name = ids[row] if ids is not None else f"row {row + 1}"
            text = what(row) if callable(what) else what
            place = (None, None) if xy_m is None else _place(xy_m[row])
            self._found.append(Finding(code, layer, name, severity, text, mend, *place))
        if len(chosen) > MOST_PER_KIND:
            text = f"the same holds for {len(chosen) - MOST_PER_KIND} more features"
            self.add(code, layer, "", severity, text, mend)

    def extend(self, findings: Iterable[Finding]) -> None:
        """Take over findings from elsewhere."""
        self._found.extend(findings)

    def sorted(self) -> tuple[Finding, ...]:
        """Return the findings in their lasting order."""
        return in_order(self._found)


def listed(names: Sequence[str] | TextColumn, most: int = MOST_NAMED) -> str:
    """Return names in one line, the first `most` of them and how many more there are."""
    more = f" and {len(names) - most:,} more" if len(names) > most else ""
    return ", ".join(names[at] for at in range(min(len(names), most))) + more


def _place(point: NDArray[np.float64]) -> tuple[float | None, float | None]:
    if not np.isfinite(point).all():
        return None, None
    return round(float(point[0]), 3), round(float(point[1]), 3)
