"""The emergency answer as a mode of the page: one click, the rings at once, then all that follows of them.

What is known of one incident is kept here: the newest answer, its log, and which question it answers. A newer
question ends what is still worked out for the older one.
"""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from threading import Lock
from typing import Annotated, Any, Final

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, model_validator

from netplan.core.errors import BadInputError, quoted
from netplan.emergency.answer import CAUTIONS, GOVERNS, MAKE_SAFE, first_answer
from netplan.emergency.emergency_place import EmergencyPlace
from netplan.emergency.emergency_tables import EmergencyTables
from netplan.emergency.hit_places import Hits
from netplan.emergency.kept_tables import keep_tables, tables_for
from netplan.emergency.next_rings import EmergencyRequest, with_next_rings
from netplan.emergency.solved_rings import solved_answer
from netplan.network.linear_reference import lines_between, lon_lat
from netplan.network.model import Network
from netplan.outputs.emergency.answer_folder import EMERGENCY_PAGE, earlier_answer, write_answer
from netplan.outputs.emergency.answer_parts import answer_parts
from netplan.outputs.emergency.emergency_sheet import write_sheet
from netplan.outputs.emergency.ring_inside import inside_of
from netplan.outputs.emergency.ring_words import rings_in_words
from netplan.outputs.number_format import METRIC
from netplan.page.planning_worker import NetworkSource
from netplan.page.save_plan import NAME
from netplan.planfile.emergency_answer import EmergencyAnswer, Ring
from netplan.readers import read_mapping, read_network
from netplan.rules import Rules

__all__ = ["EmergencyMode", "PageHit"]

DEGREE_DIGITS: Final = 7
"""Digits of a place pointed at: a centimetre on the ground (own) [-]."""
Text = Annotated[str, Field(max_length=200)]


class PageHit(BaseModel):
    """Where a main was hit, how many crews come, and valves that failed to shut.

    Exactly one of: a place pointed at [m, working CRS], a main or service with a chainage on it [m], a street
    and number. `is_new` begins a log of its own, though it may be the place of the answer before.
    """

    x: Annotated[float, Field(ge=-1e8, le=1e8, allow_inf_nan=False)] | None = None
    y: Annotated[float, Field(ge=-1e8, le=1e8, allow_inf_nan=False)] | None = None
    main: Text = ""
    at_m: Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)] = 0.0
    address: Text = ""
    crews: Annotated[int, Field(ge=1, le=100)] | None = None
    failed: Annotated[tuple[Text, ...], Field(max_length=1_000)] = ()
    is_new: bool = False

    model_config = ConfigDict(extra="forbid", frozen=True)

    @model_validator(mode="after")
    def _one_place(self) -> PageHit:
        if (self.x is None) != (self.y is None):
            raise ValueError("a place has x and y")
        if sum((self.x is not None, bool(self.main), bool(self.address))) != 1:
            raise ValueError("give one of a place on the map, a main or service, an address")
        return self

    def place(self, network: Network) -> EmergencyPlace:
        """Return the place as the command names it."""
        if self.x is not None and self.y is not None:
            lon, lat = lon_lat(network, np.array([[self.x, self.y]]))[0].tolist()
            return EmergencyPlace(at=(round(lon, DEGREE_DIGITS), round(lat, DEGREE_DIGITS)))
        if self.main:
            return EmergencyPlace(main=self.main, at_m=self.at_m)
        return EmergencyPlace(address=self.address)


class _OvertakenError(Exception):
    """A newer question is there."""


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """One question, how many were asked before it, and its newest answer."""

    number: int
    place: EmergencyPlace
    hits: Hits
    request: EmergencyRequest
    answer: EmergencyAnswer


class EmergencyMode:
    """Answers for one network, in which pipes that planning sets aside carry gas: in an emergency they do.

    Parameters
    ----------
    source : NetworkSource
    network : Network
        As planning reads it.
    rules : Rules
    """

    def __init__(self, source: NetworkSource, network: Network, rules: Rules) -> None:
        self._source, self._network, self._rules = source, network, rules
        self._tables: EmergencyTables | None = None
        self._reading = Lock()
        self._newest: _Asked | None = None
        self._drawn: tuple[int, dict[str, list[Any]]] = (-1, {})

    def beginning(self) -> dict[str, Any]:
        """Return what stands there before any place is given."""
        rules = self._rules.emergency
        return {"governs": GOVERNS, "make_safe": MAKE_SAFE, "cautions": CAUTIONS, "crews": rules.crews}

    def tables(self) -> EmergencyTables:
        """Return the tables, worked out at the first call; any thread may ask."""
        with self._reading:
            if self._tables is None:
                tables = tables_for(self._with_every_pipe(), self._rules, self._source.cache)
                # Worked out here, not at the first question.
                _ = tables.by_valves, tables.by_any_method, tables.boxes.within(0.0, 0.0, 0.0)
                self._tables = tables
            return self._tables

    def _with_every_pipe(self) -> Network:
        if not len(self._network.set_aside):
            return self._network
        source = self._source
        mapping = None if source.mapping is None else read_mapping(source.mapping)
        return read_network(source.network, mapping=mapping, cache=source.cache, keep_pipes=True)

    def ask(self, hit: PageHit) -> tuple[dict[str, Any], Iterator[dict[str, Any]]]:
        """Return the first answer in words with what the map shows of it, and all that follows of it.

        What follows are the mains inside each ring, rings ready in case a valve fails, pressures, rings ready
        in case two fail; it ends when a newer question is asked.

        The log goes on while it is the same incident: the same place, or one of what was hit there.

        Raises
        ------
        BadInputError, BadWorkError
            When a valve or an address is not in the network, or no main lies near.
        """
        tables = self.tables()
        place, rules = hit.place(tables.network), tables.rules.emergency
        before = self._newest
        earlier = None if before is None or hit.is_new or not _goes_on(before, place) else before.answer
        request = EmergencyRequest(
            place.words(), hit.crews or rules.crews, rules.location_error_m, tuple(dict.fromkeys(hit.failed))
        )
        hits = place.hits(tables, rules.location_error_m)
        answer = first_answer(
            tables,
            hits,
            request,
            revision=1 if earlier is None else earlier.revision + 1,
            log=() if earlier is None else earlier.log,
        )
        number = 0 if before is None else before.number + 1
        asked = self._newest = _Asked(number, place, hits, request, answer)
        return self._shown(asked), self._later(asked)

    def newest(self) -> dict[str, Any] | None:
        """Return the newest answer in words; None before any."""
        return None if self._newest is None else self._shown(self._newest)

    def _later(self, asked: _Asked) -> Iterator[dict[str, Any]]:
        tables, hits, request, answer = self.tables(), asked.hits, asked.request, asked.answer

        def check() -> None:
            if self._newest is not newest:
                raise _OvertakenError

        newest = asked
        self._drawn = (asked.number, self._insides(answer))
        yield self._shown(newest)
        try:
            for step in ("ready", "pressures", "two valves"):
                if step == "pressures":
                    answer = solved_answer(tables, hits, request, answer, at=datetime.now())
                else:
                    answer = with_next_rings(
                        tables, hits, request, answer, pairs=step == "two valves", check=check
                    )
                check()
                newest = self._newest = replace(asked, answer=answer)
                yield self._shown(newest)
            keep_tables(tables, self._source.cache)
        except _OvertakenError:
            return

    def _shown(self, asked: _Asked) -> dict[str, Any]:
        answer = asked.answer
        rings = rings_in_words(answer, METRIC)
        places = {one.id: [one.x, one.y] for one in answer.customers}
        return {
            **answer_parts(answer, METRIC),
            "crews": asked.request.crews,
            "asked_at": asked.number,
            "hit_places": [[one.x, one.y, answer.keep_away_m] for one in answer.hits],
            "off": {
                ring.letter: [places[name] for name in ring.ring.customers_off if name in places]
                for ring in rings
            },
            "inside": self._drawn[1] if self._drawn[0] == asked.number else {},
        }

    def _insides(self, answer: EmergencyAnswer) -> dict[str, list[Any]]:
        """Return the courses of the mains inside each ring, by its letter; a while in a large network."""
        return {ring.letter: self._inside(answer, ring.ring) for ring in rings_in_words(answer, METRIC)}

    def _inside(self, answer: EmergencyAnswer, ring: Ring) -> list[Any]:
        """Return the courses of the mains inside a ring [m, working CRS]."""
        network = self.tables().network
        inside, pieces = inside_of(network, answer.hits, ring), network.pieces
        whole = np.flatnonzero(inside.whole & (pieces.pipe < network.pipes.n_mains))
        parts = [part for part in inside.parts if part[0] < network.pipes.n_mains]
        lines = lines_between(
            network,
            np.array([*pieces.pipe[whole].tolist(), *(part[0] for part in parts)], dtype=np.int64),
            np.array([*pieces.from_m[whole].tolist(), *(part[1] for part in parts)]),
            np.array([*pieces.to_m[whole].tolist(), *(part[2] for part in parts)]),
        )
        return [np.asarray(line.coords).round(2).tolist() for line in lines]

    def save(self, plans: Path, name: str) -> dict[str, Any]:
        """Write the newest answer as the command writes it; return its folder and the equal command.

        Raises
        ------
        BadInputError
            When there is no answer, the name is unfit, or another answer stands there.
        """
        asked = self._newest
        if asked is None:
            raise BadInputError("emergency: no answer yet; say where the main was hit")
        if not NAME.fullmatch(name):
            raise BadInputError(
                f"name: {quoted(name)} cannot be a name; write letters, digits, spaces, - and _"
            )
        folder, answer = plans / name, asked.answer
        earlier = earlier_answer(folder)
        if earlier is not None and earlier.log != answer.log[: len(earlier.log)]:
            raise BadInputError(f"{folder}: holds another answer; give another name")
        write_sheet(folder, answer, write_answer(folder, answer, self.tables().network))
        return {
            "folder": str(folder),
            "page": str(folder / EMERGENCY_PAGE),
            "command": self._command(asked, folder),
        }

    def _command(self, asked: _Asked, folder: Path) -> str:
        source, request = self._source, asked.request
        words = ["gas-netplan", "emergency", source.network, *shlex.split(request.asked)]
        words += ["--crews", str(request.crews)]
        for valve in request.failed_valves:
            words += ["--valve-failed", valve]
        for option, file in (("--rules", source.rules), ("--mapping", source.mapping)):
            words += [] if file is None else [option, str(file)]
        return shlex.join([*words, "--out", str(folder)])


def _goes_on(before: _Asked, place: EmergencyPlace) -> bool:
    """Return whether a place is that of the answer before, or a pipe that may have been hit there."""
    pipes = [hit.main_id for hit in before.answer.hits] + [one.service_id for one in before.answer.services]
    return place == before.place or place.main in pipes
