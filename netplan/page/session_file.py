"""A session on the server: notes and pinned options as they are given, saved and opened by name."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from netplan import __version__
from netplan.core.errors import BadInputError, quoted, shown
from netplan.core.text_files import TooLargeError, text_of
from netplan.network.model import Network
from netplan.outputs.atomic_writes import write_file
from netplan.page.page_orders import PageOrders
from netplan.page.save_plan import checked_name
from netplan.page.session_changes import changes_since, network_fingerprint, rules_fingerprint
from netplan.page.session_model import (
    MOST_NOTES,
    MOST_PINNED,
    SESSION_SCHEMA_NAME,
    PinnedOption,
    SessionFile,
    SessionNote,
)
from netplan.rules import Rules

__all__ = ["PlanningSession", "read_session"]

ENDING: Final = ".session.json"
MOST_NAMED: Final = 2
"""Lengths of main that the name of a pinned option holds (own) [-]."""
MOST_NAME: Final = 400
"""Characters of such a name (own) [-]."""
MOST_BYTES: Final = 20_000_000
"""No session is as large as this (own) [bytes]."""
CAUTION: Final = (
    "Planning figures only: no permit and no approved procedure. The operator's rules, local codes and "
    "licensed, competent people govern."
)


class PlanningSession:
    """Notes and pinned options of one server, for one network under one set of rules.

    Parameters
    ----------
    network : Network
    rules : Rules
    plans : Path
        Folder that sessions are saved in.
    """

    def __init__(self, network: Network, rules: Rules, plans: Path) -> None:
        self._network, self._rules, self._plans = network, rules, plans
        self.notes: list[SessionNote] = []
        self.pinned: list[PinnedOption] = []

    def note(self, about: Any, place: Any, text: Any) -> None:
        """Write a note, stamped with the time.

        Raises
        ------
        BadInputError
            When it is empty or too long, or there are too many.
        """
        if len(self.notes) >= MOST_NOTES:
            raise BadInputError(f"notes: {MOST_NOTES} at most; take one away")
        given = {"about": about, "place": place, "text": text, "written": _now()}
        try:
            self.notes.append(SessionNote.model_validate(given))
        except ValidationError as error:
            raise BadInputError(f"note: {_first(error)}") from None

    def drop_note(self, at: int) -> None:
        """Take a note away by its place in the list; one that is not there is none."""
        if 0 <= at < len(self.notes):
            del self.notes[at]

    def pin(self, orders: PageOrders, option: dict[str, Any]) -> None:
        """Pin an option as it was answered.

        Parameters
        ----------
        orders : PageOrders
            That it answers.
        option : dict
            As `stage_figures` returns it.

        Raises
        ------
        BadInputError
            When three are pinned already, or this one is.
        """
        if len(self.pinned) >= MOST_PINNED:
            raise BadInputError(f"pinned: {MOST_PINNED} at most; unpin one")
        pinned = _pinned(orders, option, _now())
        if any(one.orders == orders and one.stops == pinned.stops for one in self.pinned):
            raise BadInputError("pinned: this option is pinned already")
        self.pinned.append(pinned)

    def refresh(self, orders: PageOrders, options: Sequence[dict[str, Any]]) -> None:
        """Give pinned options the figures that were worked out since: those of the same orders and stops.

        Parameters
        ----------
        orders : PageOrders
        options : sequence of dict
            As `stage_figures` returns them.
        """
        for at, one in enumerate(self.pinned):
            if one.orders == orders:
                newer = (_pinned(orders, option, one.pinned) for option in options)
                self.pinned[at] = next((other for other in newer if other.stops == one.stops), one)

    def unpin(self, at: int) -> None:
        """Unpin an option by its place in the list; one that is not there is none."""
        if 0 <= at < len(self.pinned):
            del self.pinned[at]

    def shown(self) -> dict[str, Any]:
        """Return notes and pinned options as the page shows them."""
        return {
            "notes": [note.model_dump(mode="json") for note in self.notes],
            "pinned": [one.model_dump(mode="json") for one in self.pinned],
        }

    def names(self) -> list[str]:
        """Return the names of the sessions saved in the folder of plans, ascending."""
        found = (path for path in self._plans.glob(f"*{ENDING}") if path.is_file())
        return sorted(path.name.removesuffix(ENDING) for path in found)

    def save(self, name: str, orders: PageOrders) -> Path:
        """Write the session; an earlier one of that name is replaced.

        Raises
        ------
        BadInputError
            When the name is unfit, or it cannot be written.
        """
        session = SessionFile(
            caution=CAUTION,
            saved=_now(),
            version=__version__,
            network=network_fingerprint(self._network, orders),
            rules=rules_fingerprint(self._rules),
            orders=orders,
            notes=tuple(self.notes),
            pinned=tuple(self.pinned),
        )
        data = session.model_dump(mode="json", by_alias=True)
        text = json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
        path = self._plans / f"{checked_name(name)}{ENDING}"
        write_file(path, lambda made: made.write_text(text, encoding="utf-8", newline="\n"))
        return path

    def open(self, name: str) -> tuple[PageOrders, tuple[str, ...]]:
        """Take up a saved session; return its orders, and what has changed since in network and rules.

        Raises
        ------
        BadInputError
            When there is none of that name, or it is none.
        """
        session = read_session(self._plans / f"{checked_name(name)}{ENDING}")
        self.notes, self.pinned = list(session.notes), list(session.pinned)
        changes = changes_since(
            session.network,
            session.rules,
            network_fingerprint(self._network, session.orders),
            rules_fingerprint(self._rules),
        )
        return session.orders, changes


def _pinned(orders: PageOrders, option: dict[str, Any], at: str) -> PinnedOption:
    """Return an option as it is pinned: named by the work, and by what differs from the others."""
    names = ("rank", "planner", "notices", "engineer", "stops", "zone", "off")
    work = ", ".join(f"{one.main_id} {one.from_m:g} to {one.to_m:g} m" for one in orders.work[:MOST_NAMED])
    more = ", …" if len(orders.work) > MOST_NAMED else ""
    name = shown(f"{work}{more}, option {option['rank']}: {option.get('words', '')}", MOST_NAME)
    given = {part: option[part] for part in names}
    return PinnedOption.model_validate({**given, "name": name, "pinned": at, "orders": orders})


def read_session(path: Path) -> SessionFile:
    """Read a session file.

    Raises
    ------
    BadInputError
        When it is no session of this schema.
    """
    if path.is_symlink() or not path.is_file():
        raise BadInputError(f"{path.name}: there is no such session")
    try:
        data = json.loads(text_of(path, MOST_BYTES))
    except TooLargeError as error:
        raise BadInputError(f"{path.name}: {error}; open another") from None
    except (OSError, ValueError, RecursionError) as error:
        raise BadInputError(f"{path.name}: is not JSON ({type(error).__name__}); open another") from None
    schema = data.get("schema") if isinstance(data, dict) else None
    if schema != SESSION_SCHEMA_NAME:
        raise BadInputError(
            f"{path.name}: schema is {quoted(schema)}, this version reads {SESSION_SCHEMA_NAME!r}"
        )
    try:
        return SessionFile.model_validate(data)
    except ValidationError as error:
        raise BadInputError(f"{path.name}: {_first(error)}; open another") from None


def _first(error: ValidationError) -> str:
    first = error.errors(include_url=False, include_context=False)[0]
    return f"{shown('.'.join(map(str, first['loc'])))}: {first['msg']}"


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
