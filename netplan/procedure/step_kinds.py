"""The stages of the order, and a step on its way into the list."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal, NamedTuple

from netplan.planfile.model import (
    Change,
    FeedTest,
    LetByTest,
    Need,
    OrderItem,
    PressureTest,
    PurgePath,
    Reading,
    Step,
)

__all__ = ["ItemState", "Stage", "StepDraft", "Who", "in_state", "numbered"]


class Stage(StrEnum):
    """Parts of the order, in their order; steps of one stage stand together unless stops take turns."""

    SIGNED = "draft checked"
    RECORDS = "records proved"
    SADDLES = "outlets fused and tested"
    TAPPINGS = "tappings drilled"
    FEED_BUILT = "feed laid"
    FEED_TESTED = "feed tested for tightness"
    FEED_MEASURED = "feed resistance measured"
    WEATHER = "weather"
    STATIONS = "stations checked"
    GAUGES = "gauges on"
    BASELINE = "baseline read"
    BARRIERS_PROVED = "barriers proved"
    VALVE_TRIED = "valve shut on trial"
    FEED_COUPLED = "feed coupled"
    FEED_PURGED = "feed purged"
    FEED_OPENED = "feed opened"
    FEED_PROVED = "feed accepted"
    METERS_OFF = "meters off"
    METERS_SEALED = "meters sealed"
    METERS_RECONCILED = "meters reconciled"
    INLET_SHUT = "station inlet shut"
    STOP_IN = "stop in"
    LET_BY = "let-by tested"
    SPACE_VENTED = "space between vented"
    VENT = "vent"
    PURGE_OUT = "purge out"
    SERVICES_PURGED = "services purged"
    GAS_FREE = "gas-free"
    EXCEPTION = "exception signed"
    LATEST_CUT = "latest time to cut"
    WORK = "work"
    NEW_PIPE = "new pipe tested"
    TIE_IN = "tie-in"
    JOINTS = "joints tested"
    TEST_LET_OFF = "test pressure let off"
    METERS_AGAIN = "meters reconciled again"
    NITROGEN_IN = "nitrogen in"
    PURGE_IN = "purge in"
    RAISED = "zone at live pressure"
    JOINTS_ON_GAS = "joints tested on gas"
    STRANDED = "stranded parts"
    INLET_OPENED = "station inlet opened"
    SPACE_PURGED = "space between purged"
    INNER_OUT = "inner barrier out"
    EQUALISE = "equalise"
    STOP_OUT = "stop out"
    THROUGH_FLOW = "through-flow proved"
    SERVICE_BACK = "service purged before relighting"
    RELIGHT = "relight"
    SECOND_VISIT = "second visit"
    FALLBACK_DOWN = "fallback stood down"
    FEED_CLOSED = "feed closed"
    FEED_REMOVED = "feed removed"
    TAPPINGS_SEALED = "tappings capped"
    COUPONS_COUNTED = "coupons and caps counted"
    REINSTATE = "reinstate"


class Who(StrEnum):
    """Who does a step."""

    COMPETENT = "competent person"
    CONTROL = "network control"
    STOPS = "stop crew"
    FEEDS = "bypass crew"
    WATCH = "pressure watch"
    METERS = "meter crew"
    WORK = "work crew"
    SURFACE = "reinstatement crew"


class ItemState(NamedTuple):
    """An item of the order and the state it must be in, or is brought to."""

    item: OrderItem
    state: str


def in_state(state: str, *items: OrderItem | None) -> tuple[ItemState, ...]:
    """Return the items that there are, each with the state it must be in, or is brought to."""
    return tuple(ItemState(item, state) for item in items if item is not None)


@dataclass(frozen=True, slots=True)
class StepDraft:
    """A step without its number; fields as in `Step`."""

    stage: Stage
    does: str
    who: Who
    if_not: str
    uses: tuple[str, ...] = ()
    hold: bool = False
    expect_mbar: float | None = None
    expect_at: str = ""
    minutes: float | None = None
    across_mbar: float | None = None
    needs: tuple[ItemState, ...] = ()
    changes: tuple[ItemState, ...] = ()
    reads: tuple[str, ...] = ()
    """Ids of the gauges that are read at it, in the state named by `state`."""
    state: str = ""
    trench: Literal["", "empty", "occupied"] = ""
    manned: tuple[str, ...] = ()
    purge: PurgePath | None = None
    let_by: LetByTest | None = None
    pressure_tests: tuple[PressureTest, ...] = ()


class StepFigures(NamedTuple):
    """Solved figures of a step, as in `Step`."""

    readings: tuple[Reading, ...] = ()
    feed_test: FeedTest | None = None


FiguresOf = Callable[[StepDraft], StepFigures]
"""Returns the solved figures of a step; it is asked for one after the other in their order."""


def no_figures(_draft: StepDraft) -> StepFigures:
    """Return that a step has no solved figures."""
    return StepFigures()


def numbered(drafts: Iterable[StepDraft], figures: FiguresOf = no_figures) -> tuple[Step, ...]:
    """Return the steps with their numbers, from 1, and their solved figures.

    What a change starts from is the state the item is in by then. Set barriers and open ends of feeds are
    manned in every step, beside what a draft names; a barrier that is a locked valve is not.
    """
    return tuple(_steps(drafts, figures))


def _steps(drafts: Iterable[StepDraft], figures: FiguresOf) -> Iterator[Step]:
    now: dict[tuple[str, str], str] = {}
    manned: dict[tuple[str, str], None] = {}
    for n, draft in enumerate(drafts, 1):
        needs, changes = _needs(draft), _changes(draft, now)
        now |= {(change.kind, change.id): change.to for change in changes}
        for item, state in draft.changes:
            if _wants_people(item) and state in ("set", "accepted", "open"):
                manned[item.kind, item.id] = None
            else:
                manned.pop((item.kind, item.id), None)
        yield Step(
            n=n,
            stage=draft.stage.value,
            does=draft.does,
            uses=tuple(dict.fromkeys(draft.uses)),
            who=draft.who.value,
            hold=draft.hold,
            expect_mbar=draft.expect_mbar,
            expect_at=draft.expect_at,
            minutes=draft.minutes,
            across_mbar=draft.across_mbar,
            if_not=draft.if_not,
            needs=needs,
            changes=changes,
            state=draft.state,
            trench=draft.trench,
            manned=tuple(dict.fromkeys((*(ident for _, ident in manned), *draft.manned))),
            purge=draft.purge,
            let_by=draft.let_by,
            pressure_tests=draft.pressure_tests,
            **figures(draft)._asdict(),
        )


def _wants_people(item: OrderItem) -> bool:
    """Return whether somebody stays at it while it is set or open: bags, squeezes, ends of feeds."""
    if item.kind == "barrier":
        return not item.valve_ids
    return item.kind == "valve" and item.role.startswith("feed end")


def _needs(draft: StepDraft) -> tuple[Need, ...]:
    found = (Need(id=one.item.id, state=one.state, kind=one.item.kind) for one in draft.needs)
    return tuple(dict.fromkeys(found))


def _changes(draft: StepDraft, now: Mapping[tuple[str, str], str]) -> tuple[Change, ...]:
    """Return what a step changes, each from the state its item is in; nothing where it is there already."""
    found = []
    for item, state in draft.changes:
        before = now.get((item.kind, item.id), item.first)
        if before != state:
            found.append(Change(id=item.id, from_=before, to=state, kind=item.kind))
    return tuple(found)
