"""Errors by kind of failure, under one root.

Every message is one line that says what is wrong, where, and what to do about it.
"""

from __future__ import annotations

import re
from typing import Any, ClassVar, Final

_LINE_ENDS: Final = re.compile("[\t\n\x0b\x0c\r\x1c-\x1e\x85\u2028\u2029]+")


class NetplanError(Exception):
    """Root of all errors a person can act on.

    Parameters
    ----------
    message : str
        Made one line, whatever text of the data or of a library is in it.

    Attributes
    ----------
    exit_code : int
        What the command line returns when this error ends a run.
    """

    exit_code: ClassVar[int] = 2

    def __init__(self, message: str = "") -> None:
        super().__init__(_LINE_ENDS.sub(" ", message))


class BadInputError(NetplanError):
    """The network, the rules, an option or a file cannot be used as it is (exit code 2)."""


class BadNetworkError(BadInputError):
    """The network layers break the input contract.

    Parameters
    ----------
    message : str
        One line that names the first fault and how many there are.
    findings : tuple of netplan.findings.Finding
        Everything noticed, errors first.
    """

    def __init__(self, message: str, findings: tuple[Any, ...] = ()) -> None:
        super().__init__(message)
        self.findings = findings


class BadRulesError(BadInputError):
    """The planning rules break their contract: unknown key, wrong unit, impossible value."""


class BadWorkError(BadInputError):
    """The work section names an unknown main, or a chainage that the main does not have."""


class StoppedError(NetplanError):
    """Somebody stopped the run; the message says what is kept of it (exit code 130)."""

    exit_code = 130


class NoPlanError(NetplanError):
    """No set of stops that satisfies every hard constraint was found (exit code 3).

    Parameters
    ----------
    message : str
        One line for people.
    reasons : tuple of str
        One line for each side or constraint that stands in the way.
    cut_short : bool
        Whether the search ended before every way was tried: then a plan may exist all the same.

    Attributes
    ----------
    lifted : tuple of netplan.plan.lifting.Lifted
        Orders of which one lifted alone gives a plan; filled where plans are made.
    """

    exit_code: ClassVar[int] = 3

    def __init__(self, message: str, reasons: tuple[str, ...] = (), *, cut_short: bool = False) -> None:
        super().__init__(message)
        self.reasons = reasons
        self.cut_short = cut_short
        self.lifted: tuple[Any, ...] = ()


class NotSolvedError(NetplanError):
    """A flow state has no trustworthy numbers: no convergence, no source, demand that cannot be met."""

    exit_code: ClassVar[int] = 3


class OutsideValidityError(NetplanError):
    """A formula was asked outside the range it holds for."""
