"""Errors by kind of failure, under one root.

Every message is one line that says what is wrong, where, and what to do about it.
"""

from __future__ import annotations

import re
from typing import Any, ClassVar, Final

MOST_SHOWN: Final = 80
"""Characters of a value from data, a file or the command line that a message repeats (own)."""
MOST_IN_MESSAGE: Final = 1_500
"""Characters of a message (own)."""

_LINE_ENDS: Final = re.compile("[\t\n\x0b\x0c\r\x1c-\x1e\x85\u2028\u2029]+")
_LONG_WORD: Final = re.compile(r"\S{256,}")
"""Longer than any name of a file: a value that slipped into a message whole."""


def shown(value: object, most: int = MOST_SHOWN) -> str:
    """Return a value as text for a message, with an ellipsis where it is longer than `most` characters."""
    text = str(value)
    return text if len(text) <= most else f"{text[:most]}…"


def quoted(value: object, most: int = MOST_SHOWN) -> str:
    """Return a value in quotes for a message, without control characters, shortened as `shown` does."""
    return repr(shown(value, most)) if isinstance(value, str) else shown(repr(value), most)


def in_brief(message: object) -> str:
    """Return a message of one line in which no value is longer than a person reads."""
    text = _LONG_WORD.sub(lambda match: shown(match[0]), _LINE_ENDS.sub(" ", str(message)))
    return shown(text, MOST_IN_MESSAGE)


class NetplanError(Exception):
    """Root of all errors a person can act on.

    Parameters
    ----------
    message : str
        Made one line of bearable length, whatever text of the data or of a library is in it.

    Attributes
    ----------
    exit_code : int
        What the command line returns when this error ends a run.
    noticed : tuple of str
        Warnings about the data that may explain it, a line each; filled where plans are made.
    """

    exit_code: ClassVar[int] = 2

    def __init__(self, message: str = "") -> None:
        super().__init__(in_brief(message))
        self.noticed: tuple[str, ...] = ()


class BadInputError(NetplanError):
    """The network, the rules, an option or a file cannot be used as it is (exit code 2)."""


class BadNetworkError(BadInputError):
    """The network layers break the input contract.

    Parameters
    ----------
    message : str
        One line that names the first fault and how many there are.
    findings : tuple of netplan.core.findings.Finding
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
    lifted : tuple of netplan.planning.blocking_orders.Lifted
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
