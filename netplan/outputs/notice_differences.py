"""What differs for each meter point between the notice lists of two plans of one work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from netplan.core.errors import BadInputError
from netplan.customers import address_groups, priority_rank, walking_key
from netplan.outputs.contacts.contact_state import NO_CONTACT, Contact, Contacts, ContactStatus
from netplan.outputs.notice_list import NoticeRow
from netplan.outputs.notice_places import NoticePlace, PlanNotices
from netplan.planfile.model import Plan
from netplan.planfile.plan_json import plan_digest

__all__ = [
    "NOT_AFFECTED",
    "NOT_RECORDED",
    "Change",
    "NoticeDifference",
    "Opening",
    "check_same_work",
    "effect_words",
    "notice_differences",
    "still_holding",
]

NOT_AFFECTED: Final = "not_affected"
"""Section of the words for those whom the new plan leaves alone."""


NOT_RECORDED: Final = (
    "none: not in the records of the new plan; find out what is there before anybody is told"
)
"""Why a meter point that the new plan's network does not have gets no letter."""


class Change(StrEnum):
    """What a new plan changes for a meter point, in the order of the sheets."""

    GOES_OFF = "goes off"
    NO_LONGER_OFF = "no longer off"
    TIMES = "times changed"
    NOW_KEPT = "now kept"
    NO_LONGER_KEPT = "no longer kept"
    NOW_STANDBY = "now standby"
    NO_LONGER_STANDBY = "no longer standby"
    NOW_IN_DOUBT = "now in doubt"
    NO_LONGER_IN_DOUBT = "no longer in doubt"
    DAY_MOVED = "day moved"
    ADDRESS = "address changed"


class Opening(StrEnum):
    """How a letter begins that follows an earlier one: keys of ``[change]`` in the words."""

    NONE = ""
    TAKEN_BACK = "taken_back"
    NOW_OFF = "now_off"
    NEW_TIMES = "new_times"
    NEW_DAY = "new_day"
    REPLACES = "replaces"


_EFFECT_WORDS: Final = {"": "not affected", NOT_AFFECTED: "not affected", "kept_standby": "kept, standby"}


def effect_words(letter: str) -> str:
    """Return what a plan makes of a meter point in words, of the name of its letter."""
    return _EFFECT_WORDS.get(letter, letter)


@dataclass(frozen=True, slots=True)
class NoticeDifference:
    """A meter point for which two plans differ.

    `before` and `now` say what each plan makes of it: ``off``, ``kept``, ``kept_standby``, ``standby``, or
    empty. Times are ISO 8601 local times, empty where there are none. `body` names the section of the words
    of its letter, `opening` how the letter begins; both are empty where it gets none, with the reason in
    `no_letter`. `old_place` is the earlier address where that differs. `contact` is what the old plan's
    contact logs say.
    """

    place: NoticePlace
    address_no: int
    before: str
    now: str
    in_doubt_before: bool
    in_doubt_now: bool
    off_from_before: str
    on_by_before: str
    off_from: str
    on_by: str
    day_before: str
    day: str
    kept_by: str
    lead_days: int
    notice_by: str
    relit: int
    changes: tuple[Change, ...]
    opening: Opening
    body: str
    no_letter: str
    old_place: NoticePlace | None
    contact: Contact

    @property
    def main_change(self) -> Change:
        """The first of its changes: the sheet that it stands on."""
        return self.changes[0]

    @property
    def customer_id(self) -> str:
        """Meter point."""
        return self.place.customer_id

    @property
    def may_lie_there(self) -> bool:
        """Whether an earlier letter may lie at the door: the old plan has one, and no log says otherwise."""
        return bool(self.before) and self.contact.status is not ContactStatus.NOT_TOLD

    @property
    def letter(self) -> str:
        """Which letter it gets in words, or why none."""
        if not self.body:
            return self.no_letter
        before = effect_words(self.before)
        opened = {
            Opening.NONE: "",
            Opening.TAKEN_BACK: "takes back off",
            Opening.NOW_OFF: f"takes back {before}",
            Opening.NEW_TIMES: "new times",
            Opening.NEW_DAY: "new day",
            Opening.REPLACES: f"replaces {before}",
        }[self.opening]
        return effect_words(self.body) + (f" ({opened})" if opened else "")

    @property
    def earlier_letter(self) -> str:
        """What is known of the earlier letter; empty where the old plan had none for them."""
        if not self.before:
            return ""
        if self.contact.status is ContactStatus.UNKNOWN:
            return "not known: taken as delivered"
        if self.contact.status is ContactStatus.NO_ACCESS:
            return f"{self.contact.words}: a letter may lie there"
        return self.contact.words


def check_same_work(old: Plan, new: Plan) -> str:
    """Refuse plans of different work, and return what is to be said where its sections moved.

    Plans are of one work when every section of each overlaps a section of the other on the same main: a
    section that grew by a metre is the same work, and then the notice team needs the difference most. They
    are too when the new plan says that it supersedes the old one.

    Returns
    -------
    str
        One line where the sections differ; else empty.

    Raises
    ------
    BadInputError
    """
    apart = [
        (whose, item)
        for whose, own, other in (("the old plan", old, new), ("the new plan", new, old))
        for item in own.work
        if not any(
            item.main_id == there.main_id and item.from_m <= there.to_m and there.from_m <= item.to_m
            for there in other.work
        )
    ]
    if apart and new.replaces is not None and new.replaces.plan_sha256 == plan_digest(old):
        return "the work sections differ: taken as one work, because the new plan supersedes the old one"
    if apart:
        whose, item = apart[0]
        raise BadInputError(
            f"compare --notices: {whose} works on {item.main_id} {item.from_m:.1f} m to {item.to_m:.1f} m, "
            "the other does not; give two plans of one work, or plan with --replaces"
        )
    if sorted((w.main_id, w.from_m, w.to_m) for w in old.work) == sorted(
        (w.main_id, w.from_m, w.to_m) for w in new.work
    ):
        return ""
    return "the work sections differ in chainage: taken as one work, because they overlap"


def notice_differences(old: PlanNotices, new: PlanNotices, told: Contacts) -> tuple[NoticeDifference, ...]:
    """Return every meter point for which two plans of one work differ, each once.

    Parameters
    ----------
    old, new : PlanNotices
        Notice lists of the two plans, of the options to compare.
    told : Contacts
        Contact logs of the old plan's folder: who certainly was not told needs no letter that takes one back.

    Returns
    -------
    tuple of NoticeDifference
        By sheet, then by effect, priority, and as one walks.
    """
    found = [
        _difference(old, new, id_, told.of(id_))
        for id_ in sorted({*old.rows, *new.rows, *old.in_doubt, *new.in_doubt})
    ]
    changed = sorted((one for one in found if one.changes), key=_order)
    return tuple(_numbered(changed))


def still_holding(old: PlanNotices, new: PlanNotices) -> tuple[NoticeRow, ...]:
    """Return the rows of the new list for which nothing differs."""
    return tuple(row for id_, row in new.rows.items() if not _changes(old, new, id_))


def _changes(old: PlanNotices, new: PlanNotices, id_: str) -> tuple[Change, ...]:
    was, now = old.rows.get(id_), new.rows.get(id_)
    effect_was, effect_now = ("" if row is None else row.effect for row in (was, now))
    standby_was, standby_now = (row is not None and bool(row.standby) for row in (was, now))
    doubt_was, doubt_now = id_ in old.in_doubt, id_ in new.in_doubt
    both = was is not None and now is not None
    held = {
        Change.GOES_OFF: effect_now == "off" and effect_was != "off",
        Change.NO_LONGER_OFF: effect_was == "off" and effect_now != "off",
        Change.TIMES: was is not None
        and now is not None
        and effect_was == effect_now == "off"
        and (was.off_from, was.on_by) != (now.off_from, now.on_by),
        Change.NOW_KEPT: effect_now == "kept" and effect_was != "kept",
        Change.NO_LONGER_KEPT: effect_was == "kept" and effect_now != "kept",
        Change.NOW_STANDBY: standby_now and not standby_was,
        Change.NO_LONGER_STANDBY: standby_was and not standby_now,
        Change.NOW_IN_DOUBT: doubt_now and not doubt_was,
        Change.NO_LONGER_IN_DOUBT: doubt_was and not doubt_now,
        Change.DAY_MOVED: both and old.days != new.days,
        Change.ADDRESS: was is not None
        and now is not None
        and old.places[id_].written != new.places[id_].written,
    }
    return tuple(change for change in Change if held[change])


def _difference(old: PlanNotices, new: PlanNotices, id_: str, contact: Contact) -> NoticeDifference:
    was, now = old.rows.get(id_), new.rows.get(id_)
    changes = _changes(old, new, id_)
    before, after = ("" if row is None else row.letter for row in (was, now))
    moved = Change.ADDRESS in changes
    told = before if contact.status is not ContactStatus.NOT_TOLD else ""
    doubt = id_ in new.in_doubt
    # A meter may be there all the same: nobody is told that their gas stays on.
    is_gone = not after and not doubt and id_ not in new.recorded
    body = after or ("standby" if told and doubt else NOT_AFFECTED if told and not is_gone else "")
    if not changes:
        opening, body = Opening.NONE, ""
    elif told and not moved:  # a letter at another address follows none there
        opening, body = _following(
            told, body, new_day=old.days != new.days, new_times=Change.TIMES in changes
        )
    else:
        opening = Opening.NONE
    return NoticeDifference(
        place=new.places.get(id_) or old.places[id_],
        address_no=0,
        before=before,
        now=after,
        in_doubt_before=id_ in old.in_doubt,
        in_doubt_now=doubt,
        off_from_before="" if was is None else was.off_from,
        on_by_before="" if was is None else was.on_by,
        off_from="" if now is None else now.off_from,
        on_by="" if now is None else now.on_by,
        day_before=old.day,
        day=new.day,
        kept_by="" if now is None else now.kept_by,
        lead_days=0 if now is None else now.lead_days,
        notice_by="" if now is None else now.notice_by,
        relit=0 if now is None else now.relit,
        changes=changes,
        opening=opening,
        body=body,
        no_letter="" if body else NOT_RECORDED if is_gone else _why_none(before, contact),
        old_place=old.places[id_] if moved else None,
        contact=contact if before else NO_CONTACT,
    )


def _following(told: str, body: str, *, new_day: bool, new_times: bool) -> tuple[Opening, str]:
    """Return how a letter that follows an earlier one begins, and its section; none where the earlier holds.

    Who was written to and is in doubt now is told what those on standby are told: no gas is planned off, and
    it could go off all the same.
    """
    if told == "off" and body != "off":
        return Opening.TAKEN_BACK, body
    if told != "off" and body == "off":
        return Opening.NOW_OFF, body
    if body == told:
        if new_day:
            return Opening.NEW_DAY, body
        return (Opening.NEW_TIMES, body) if new_times else (Opening.NONE, "")
    return Opening.REPLACES, body


def _why_none(before: str, contact: Contact) -> str:
    if before and contact.status is ContactStatus.NOT_TOLD:
        return f"none: nobody was told by {contact.log}"
    return "none: the earlier letter holds" if before else "none: nobody writes to those in doubt alone"


def _order(one: NoticeDifference) -> tuple[object, ...]:
    place = one.place
    walked = walking_key(place.street, place.number, place.address, place.customer_id)
    return list(Change).index(one.main_change), one.relit, priority_rank(place.priority), walked


def _numbered(rows: Sequence[NoticeDifference]) -> list[NoticeDifference]:
    places = [one.place for one in rows]
    houses = address_groups(
        [place.address for place in places],
        [place.street for place in places],
        [place.number for place in places],
        [place.postcode or place.town for place in places],
    )
    return [replace(one, address_no=house + 1) for one, house in zip(rows, houses, strict=True)]
