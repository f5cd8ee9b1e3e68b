"""Findings about data: collected by small checks, judged by the caller."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Protocol

from netplan.core.errors import in_brief, shown

READING_CODES: Final = (
    "ambiguous-name",
    "column-absent",
    "column-not-read",
    "feed-takes-nothing",
    "layer-absent",
    "layer-not-read",
    "read-as",
    "rows-not-taken",
    "word-in-other-case",
)
"""Codes of findings about what was not read of a source, is not in it, or was read under another name."""


class Severity(StrEnum):
    """How much a finding weighs."""

    ERROR = "error"
    """The network cannot be used until this is mended."""
    WARNING = "warning"
    """Usable, but figures that rest on it are doubtful."""
    NOTE = "note"
    """Worth knowing; nothing rests on it."""


class Noticed(Protocol):
    """What tells a kind of finding: a `Finding`, or a row of a plan's findings."""

    @property
    def code(self) -> str:
        """Name of the kind of fault."""

    @property
    def layer(self) -> str:
        """Layer of the input contract; empty when it concerns the whole network."""

    @property
    def feature_id(self) -> str:
        """Id of the feature; empty when it concerns the whole layer."""

    @property
    def severity(self) -> str:
        """Weight, a word of `Severity`."""

    @property
    def what(self) -> str:
        """What is wrong, in one line."""


@dataclass(frozen=True, slots=True, order=True)
class Finding:
    """One thing noticed about one feature of the data.

    Parameters
    ----------
    code : str
        Short stable name of the kind of fault, in kebab case, such as ``duplicate-id``.
    layer : str
        Layer of the input contract, such as ``mains``; empty when it concerns the whole network.
    feature_id : str
        Id of the feature; empty when it concerns the whole layer.
    severity : Severity
        Weight.
    what : str
        What is wrong, in one line.
    mend : str
        What a person should do about it, in one line.
    x_m, y_m : float or None
        Place in the working CRS [m], where there is one.
    """

    code: str
    layer: str
    feature_id: str
    severity: Severity
    what: str
    mend: str
    x_m: float | None = None
    y_m: float | None = None

    def line(self) -> str:
        """Return the finding as one readable line."""
        where = f"{self.layer} {shown(self.feature_id)}".strip() or "network"
        return in_brief(f"{self.severity}: {where}: {self.what}; {self.mend}")


def errors_of(findings: Iterable[Finding]) -> list[Finding]:
    """Return the findings that stop a run, in their order."""
    return [finding for finding in findings if finding.severity is Severity.ERROR]


def in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings sorted by severity, layer, code and feature id, without repeats.

    The order depends on the data alone, never on the order of its rows.
    """
    weight = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.NOTE: 2}
    return tuple(
        sorted(
            set(findings),
            key=lambda f: (
                weight[f.severity],
                f.layer,
                f.code,
                f.feature_id,
                f.what,
                f.x_m or 0.0,
                f.y_m or 0.0,
            ),
        )
    )
