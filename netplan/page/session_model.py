"""A planner's session as a file: network and rules it was made with, orders, notes and pinned options."""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field

from netplan.page.page_orders import Name, PageOrders

__all__ = [
    "MOST_NOTES",
    "MOST_PINNED",
    "SESSION_SCHEMA_NAME",
    "NamedRecords",
    "NetworkFingerprint",
    "PinnedOption",
    "RulesFingerprint",
    "SessionFile",
    "SessionNote",
    "session_schema",
]

SESSION_SCHEMA_NAME: Final = "netplan/session/1"
MOST_NOTES: Final = 500
MOST_PINNED: Final = 3
Time = Annotated[str, Field(max_length=40)]
Digest = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
Number = Annotated[float, Field(ge=-1e12, le=1e12, allow_inf_nan=False)]
Text = Annotated[str, Field(max_length=2_000)]
Point = tuple[Number, Number]
Customer = tuple[Number, Number, Text, Text, Text, Annotated[int, Field(ge=0)]]
MANY: Final = 100_000
"""Rows of one list of a session at most (own) [-]."""


class _SessionElement(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class SessionNote(_SessionElement):
    """What somebody wrote about an option or a stop.

    `place` says which: a stop by ``MAIN:CHAINAGE`` or valve id, an option by all of its stops so.
    """

    about: Literal["option", "stop"]
    place: Annotated[str, Field(min_length=1, max_length=4_000)]
    text: Annotated[str, Field(min_length=1, max_length=2_000)]
    written: Time


class NamedRecords(_SessionElement):
    """Records of what the orders name, by id: of a main length [m], outside diameter [mm] and material."""

    mains: Annotated[dict[Name, tuple[Number, Number, Text]], Field(max_length=MANY)] = {}
    valves: Annotated[dict[Name, Text], Field(max_length=MANY)] = {}
    customers: Annotated[dict[Name, Text], Field(max_length=MANY)] = {}


class NetworkFingerprint(_SessionElement):
    """Which network a session was made with: digest of its content, counts and digests of ids by layer."""

    source: Text
    content_sha256: Digest
    counts: Annotated[dict[Text, Annotated[int, Field(ge=0)]], Field(max_length=50)]
    ids_sha256: Annotated[dict[Text, Digest], Field(max_length=50)]
    named: NamedRecords


class RulesFingerprint(_SessionElement):
    """The planning rules of a session: digest and values."""

    sha256: Digest
    values: dict[str, Any]


class PinnedFigure(_SessionElement):
    """A figure as it stood; label says whether a bound, solved or proven."""

    value: (
        Number | Annotated[str, Field(max_length=200)] | Annotated[list[Number], Field(max_length=50)] | None
    )
    label: Literal["bound", "solved", "proven"]


class PinnedStop(_SessionElement):
    """A stop of a pinned option."""

    id: Name
    x: Number
    y: Number
    kind: Literal["bag", "squeeze", "valve"]
    method: Text
    main_id: Name
    chainage_m: Number
    valve_id: Text
    forbid: Text = ""
    why: Text


class PinnedOption(_SessionElement):
    """An option kept for comparison, with the orders that it answers."""

    name: Text
    pinned: Time
    orders: PageOrders
    rank: Annotated[int, Field(ge=1, le=1_000)]
    planner: dict[Text, PinnedFigure]
    notices: dict[Text, PinnedFigure]
    engineer: dict[Text, PinnedFigure]
    stops: Annotated[tuple[PinnedStop, ...], Field(max_length=1_000)]
    zone: Annotated[tuple[tuple[Point, ...], ...], Field(max_length=MANY)]
    off: Annotated[tuple[Customer, ...], Field(max_length=MANY)]


class SessionFile(_SessionElement):
    """A session: planning help, never a permit."""

    schema_: Literal["netplan/session/1"] = Field(alias="schema", default=SESSION_SCHEMA_NAME)
    caution: Text
    saved: Time
    version: Text
    network: NetworkFingerprint
    rules: RulesFingerprint
    orders: PageOrders
    notes: Annotated[tuple[SessionNote, ...], Field(max_length=MOST_NOTES)] = ()
    pinned: Annotated[tuple[PinnedOption, ...], Field(max_length=MOST_PINNED)] = ()

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


def session_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a session file."""
    schema = SessionFile.model_json_schema(by_alias=True, mode="serialization")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:gas-netplan:{SESSION_SCHEMA_NAME}",
        **schema,
    }
