"""When the work starts, as written on the command line."""

from __future__ import annotations

from datetime import datetime

from netplan.errors import BadInputError

__all__ = ["start_of"]


def start_of(text: str | None) -> datetime | None:
    """Read ``--start``: local time, ISO 8601; None where it is left out.

    Raises
    ------
    BadInputError
        When it is no date and time.
    """
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise BadInputError(
            f"--start: {text[:40]!r} is no ISO date and time; write for example 2027-03-09T07:00"
        ) from None
    return moment.replace(tzinfo=None)
