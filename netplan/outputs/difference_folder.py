"""The notices of the difference between two plans: a folder that is there whole, or not there at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from netplan.core.errors import BadInputError
from netplan.network.finding_log import listed
from netplan.outputs.atomic_writes import Target, write_folder
from netplan.outputs.contacts.contact_state import Contacts, carried_over
from netplan.outputs.contacts.record_contacts import contacts_of_folder
from netplan.outputs.difference_workbook import DifferenceFacts, differences_csv, write_differences_xlsx
from netplan.outputs.documents.difference_letters import (
    DifferenceLetter,
    difference_letters,
    difference_letters_pdf,
    pages_of,
)
from netplan.outputs.documents.letter_choice import choose_words
from netplan.outputs.documents.letter_words import read_words
from netplan.outputs.layers import read_plan_layers
from netplan.outputs.notice_differences import (
    NOT_RECORDED,
    NoticeDifference,
    check_same_work,
    notice_differences,
    still_holding,
)
from netplan.outputs.notice_places import PlanNotices, plan_notices
from netplan.outputs.number_format import Figures
from netplan.outputs.reader_choices import Choices
from netplan.planfile import read_state
from netplan.planfile.model import Plan
from netplan.planfile.plan_json import option_of_rank, plan_digest, read_plan
from netplan.planfile.revision import revision_code
from netplan.planfile.superseded import read_superseded

__all__ = ["ComparedPlan", "WrittenDifferences", "compared_plan", "write_notice_differences"]


_MOST_NAMED: Final = 5
"""Addresses that a line names (own)."""


@dataclass(frozen=True, slots=True)
class WrittenDifferences:
    """The notices of a difference as they were written.

    Parameters
    ----------
    folder : Path
    old, new : PlanNotices
    rows : tuple of NoticeDifference
    holding : int
        Meter points for which nothing changed.
    letters : int or None
        Letters made; None where the words have no sender.
    notes : tuple of str
        What the notice team must know besides, a line each.
    """

    folder: Path
    old: PlanNotices
    new: PlanNotices
    rows: tuple[NoticeDifference, ...]
    holding: int
    letters: int | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ComparedPlan:
    """One of the two plans: its folder, its notice list, and who was told by its contact logs."""

    folder: Path
    notices: PlanNotices
    contacts: Contacts


def compared_plan(folder: Path, option: int) -> ComparedPlan:
    """Read what a plan folder says to everybody.

    Parameters
    ----------
    folder : Path
        Plan folder; it is only read.
    option : int
        Rank of the option that notices are made for.

    Raises
    ------
    BadInputError
        When the folder is no plan folder, it has no such option, or a contact log in it cannot be read.
    """
    plan = read_plan(folder)
    state = read_state(read_plan_layers(folder), option_of_rank(plan, option).rank)
    return ComparedPlan(folder, plan_notices(plan, state), contacts_of_folder(folder, plan))


def write_notice_differences(
    before: ComparedPlan, after: ComparedPlan, place: Target, choices: Choices
) -> WrittenDifferences:
    """Write workbook, CSV, letters and call sheet of what differs between two plans of one work.

    Parameters
    ----------
    before, after : ComparedPlan
        The plan whose letters are in the doors, and the one that takes its place.
    place : Target
        As `check_differences_target` returned it.
    choices : Choices
        Language and words of the letters.

    Raises
    ------
    BadInputError
        When the plans are of different work, the new one is superseded, or words that are needed are broken.
    """
    old, new = before.notices, after.notices
    moved = check_same_work(old.plan, new.plan)
    check_stands(after.folder)
    other = _superseded_by_another(before.folder, new.plan)
    told_before, told_now = before.contacts, after.contacts
    rows = notice_differences(old, new, told_before)
    holding = still_holding(old, new)
    told = carried_over(
        told_before, told_now, [row.customer_id for row in holding], [one.customer_id for one in rows]
    )
    letters = difference_letters(rows, new)
    words = choose_words(
        [place.language for one in letters for place in one.places],
        read_words(choices.words),
        choices.language,
    )
    notes = tuple(
        line
        for line in (
            moved,
            other,
            *(words.lines if letters else ()),
            *_told_notes(rows, told_before),
            *_two_letters(letters),
            *_not_recorded(rows),
        )
        if line
    )
    units = choices.figures
    facts = DifferenceFacts(
        before.folder.resolve().name,
        after.folder.resolve().name,
        old.plan,
        new.plan,
        old.option,
        new.option,
        revision_code(new.plan),
        told,
        notes,
        units,
    )
    pages = {} if words.lacking else pages_of(letters)
    signs: list[str] = []

    def make(part: Path) -> None:
        write_differences_xlsx(part / "notice_differences.xlsx", rows, holding, pages, facts)
        text = differences_csv(rows, pages, facts)
        (part / "notice_differences.csv").write_text(text, encoding="utf-8", newline="")
        if letters and not words.lacking:
            made, without_a_font = difference_letters_pdf(letters, old, new, words, paper=units.paper)
            (part / "letters.pdf").write_bytes(made)
            signs.append(without_a_font)
        _sheets(part, rows, new, told, units)

    folder = write_folder(place, make)
    boxes = tuple(f"letters.pdf has empty boxes: no font here has {one}" for one in signs if one)
    count = None if letters and words.lacking else len(letters)
    return WrittenDifferences(folder, old, new, rows, len(holding), count, (*notes, *boxes))


def _sheets(
    part: Path, rows: Sequence[NoticeDifference], new: PlanNotices, told: Contacts, units: Figures
) -> None:
    from netplan.outputs.documents.call_and_tally_sheets import tally_pdf
    from netplan.outputs.documents.contact_call_sheet import call_sheet_of_differences_pdf

    call = part / "call_sheet.pdf"
    call.write_bytes(call_sheet_of_differences_pdf(new.plan, rows, units=units))
    # Who is at risk without gas: for the owner's eyes until the owner hands it on.
    call.chmod(0o600)
    if told.logs:
        option = option_of_rank(new.plan, new.option)
        tally = tally_pdf(new.plan, list(new.rows.values()), option, told, units=units)
        (part / "tally_sheet.pdf").write_bytes(tally)


def check_stands(folder: Path) -> None:
    """Refuse the folder of a plan that another one supersedes: its notices must not go out.

    Raises
    ------
    BadInputError
    """
    known = read_superseded(folder)
    if known is not None:
        raise BadInputError(f"compare --notices: {folder} is {known.words}; compare with that plan")


def _superseded_by_another(folder: Path, new: Plan) -> str:
    known = read_superseded(folder)
    if known is None or known.by_sha256 == plan_digest(new):
        return ""
    return (
        f"the old plan is {known.words}, not by the new one: "
        "compare with the plan whose letters are in the doors"
    )


def _told_notes(rows: Sequence[NoticeDifference], told: Contacts) -> list[str]:
    """Return what is to be said of the earlier letters."""
    earlier = [one for one in rows if one.before]
    if not told.logs:
        if not earlier:
            return []
        line = (
            f"the old plan has no contact log: the earlier letters of {len(earlier)} meter points count as "
            f"delivered, and are taken back where they no longer hold"
        )
        return [line]
    spared = sum(not one.may_lie_there for one in earlier)
    lines = [*(f"contact logs differ: {line}" for line in told.differing)]
    if spared:
        lines.append(
            f"{spared} meter points: nobody was told by {', '.join(told.logs)}, so no earlier letter is "
            "taken back there; take it back by hand where one has gone out since that list came back"
        )
    return lines


def _not_recorded(rows: Sequence[NoticeDifference]) -> list[str]:
    """Return a line on meter points that were told and that the new plan's records do not have."""
    gone = [one.customer_id for one in rows if one.before and one.no_letter == NOT_RECORDED]
    if not gone:
        return []
    count = "1 meter point is" if len(gone) == 1 else f"{len(gone)} meter points are"
    what = f"{count} not in the records of the new plan ({listed(gone, _MOST_NAMED)})"
    return [
        f"{what}: no letter is made; find out what is there, because the earlier letter may lie in the door"
    ]


def _two_letters(letters: Sequence[DifferenceLetter]) -> list[str]:
    named = sorted(
        {place.written: place.address for one in letters if one.named for place in one.places}.values()
    )
    if not named:
        return []
    count = "1 address gets" if len(named) == 1 else f"{len(named)} addresses get"
    more = "; …" if len(named) > _MOST_NAMED else ""
    return [f"{count} several letters, which name their meter points: {'; '.join(named[:_MOST_NAMED])}{more}"]
