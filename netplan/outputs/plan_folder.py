"""A plan folder and its files: there whole, or not there at all."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd

from netplan.outputs.atomic_writes import Target, write_folder
from netplan.outputs.contacts.contact_state import Contacts, add_up
from netplan.outputs.figures_for_rules import figures_for_plan
from netplan.outputs.layers import plan_layers, read_plan_layers, write_layers
from netplan.outputs.map import plan_map
from netplan.outputs.notice_list import (
    CustomerInDoubt,
    NoticeRow,
    customers_in_doubt,
    notice_rows,
)
from netplan.outputs.notice_workbook import write_notices_xlsx
from netplan.outputs.notices_csv import notices_csv
from netplan.outputs.number_format import Figures
from netplan.outputs.output_folders import check_target
from netplan.outputs.reader_choices import Choices, check_choices
from netplan.outputs.work_day.work_day_page import work_day_page
from netplan.planfile import SolvedState, read_state
from netplan.planfile.contact_log import contact_logs_of
from netplan.planfile.model import Plan
from netplan.planfile.plan_json import option_of_rank, plan_digest, plan_to_json, read_plan
from netplan.planfile.plan_result import PlanResult
from netplan.planfile.superseded import read_superseded

if TYPE_CHECKING:
    from netplan.outputs.documents.letter_choice import ChosenWords

__all__ = [
    "write_deliverables",
    "write_deliverables_again",
    "write_plan_files",
    "write_plan_folder",
]


def write_plan_folder(
    result: PlanResult,
    out: Path,
    *,
    overwrite: bool = False,
    choices: Choices | None = None,
    progress: Callable[[str], None] | None = None,
    target: Target | None = None,
    more_files: Mapping[str, str] | None = None,
    warn: Callable[[str], None] | None = None,
) -> Path:
    """Write everything people take away into one folder, which appears whole or not at all.

    The files are made in a hidden folder beside the target, which is renamed when all are there.

    Parameters
    ----------
    result : PlanResult
    out : Path
        The folder to make. Its parent must exist.
    overwrite : bool
        Whether an earlier plan folder of that name may be replaced. Any other folder never is.
    choices : Choices, optional
        Units, option, language and so on; those of `Choices` when left out.
    progress : callable, optional
        Called with what is being made.
    target : Target, optional
        As `check_target` returned it before the plan was made: what another run wrote there since stays.
    more_files : mapping of str to str, optional
        Name and text of files that the folder holds besides.
    warn : callable, optional
        Called with each line that must be said of the letters, such as why there are none.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    BadInputError
        When the target exists and may not be replaced, or cannot be written, or a choice is unknown.
    """
    place = target or check_target(out, overwrite=overwrite)
    chosen, tell, say = choices or Choices(), progress or (lambda _: None), warn or (lambda _: None)
    check_choices(chosen)

    def make(part: Path) -> None:
        write_plan_files(result, part, chosen, tell, say)
        for name, text in (more_files or {}).items():
            (part / name).write_text(text, encoding="utf-8", newline="\n")

    return write_folder(place, make)


def write_deliverables_again(
    plan_folder: Path,
    out: Path,
    *,
    choices: Choices,
    progress: Callable[[str], None] | None = None,
    warn: Callable[[str], None] | None = None,
) -> Path:
    """Make map, page of the work's day, notices and papers anew from a plan folder, into a new folder.

    Another option, other units, another language: nothing is planned again. The restricted call sheet is
    not among them, because a plan folder does not hold the notes; with contact logs there is one without
    notes, with those told already marked.

    Parameters
    ----------
    plan_folder : Path
        A plan folder; it is only read.
    out : Path
        The folder to make; it must not hold anything.
    choices : Choices
    progress : callable, optional
        Called with what is being made.
    warn : callable, optional
        As for `write_plan_folder`.

    Raises
    ------
    BadInputError
        When the folder is no plan folder, the target exists or a choice is unknown.
    """
    place = check_target(out)
    check_choices(choices)
    plan, layers = read_plan(plan_folder), read_plan_layers(plan_folder)
    states = [read_state(layers, option.rank) for option in plan.options]
    known = read_superseded(plan_folder)
    superseded = "" if known is None else known.words
    contacts = add_up(contact_logs_of(plan_folder, plan_digest(plan)))
    tell, say = progress or (lambda _: None), warn or (lambda _: None)

    def make(part: Path) -> None:
        rows = write_deliverables(plan, layers, states, part, choices, tell, say, superseded, contacts)
        if choices.papers and contacts.logs:
            _write_told(plan, rows, contacts, part / "call_sheet.pdf", choices, superseded)

    return write_folder(place, make)


Tell = Callable[[str], None]


def write_plan_files(result: PlanResult, folder: Path, choices: Choices, tell: Tell, warn: Tell) -> None:
    """Write every file of a plan into an empty folder.

    Raises
    ------
    BadInputError
        When a choice is unknown.
    OSError
        When a file cannot be written.
    """
    plan = result.plan
    tell("writing plan.json")
    (folder / "plan.json").write_text(plan_to_json(plan), encoding="utf-8", newline="\n")
    tell("writing plan.gpkg")
    layers = plan_layers(result)
    write_layers(layers, folder / "plan.gpkg")
    rows = write_deliverables(plan, layers, result.states, folder, choices, tell, warn)
    if choices.papers:
        doubts = customers_in_doubt(option_of_rank(plan, choices.option))
        _write_call_sheet(result, rows, doubts, folder / "call_sheet_restricted.pdf", choices.figures)


def write_deliverables(
    plan: Plan,
    layers: Mapping[str, gpd.GeoDataFrame],
    states: Sequence[SolvedState],
    folder: Path,
    choices: Choices,
    tell: Tell,
    warn: Tell,
    superseded: str = "",
    contacts: Contacts | None = None,
) -> tuple[NoticeRow, ...]:
    """Write what a plan folder alone is enough for: map, page of the day, notices and papers.

    Parameters
    ----------
    plan : Plan
    layers : mapping of str to GeoDataFrame
        Layers of plan.gpkg.
    states : sequence of SolvedState
        One for each option, in the order of the options.
    folder : Path
    choices : Choices
    tell : callable
        Called with what is being made.
    warn : callable
        Called with what must be said of the letters, a line each.
    superseded : str
        By what the plan is superseded, in words: its papers say that they are void, and there are no letters.
    contacts : Contacts, optional
        Contact logs of the plan's folder: the tally sheet begins with open doors.

    Returns
    -------
    tuple of NoticeRow
        The notice list that was written.
    """
    figures, rank = figures_for_plan(choices.figures, plan), choices.option
    place = plan.options.index(option_of_rank(plan, rank))
    tell("writing the notices")
    rows = notice_rows(plan, states[place])
    (folder / "notices.csv").write_text(notices_csv(rows), encoding="utf-8", newline="")
    words = _words(rows, choices) if choices.papers and not superseded else None
    notes = () if words is None else words.lines
    write_notices_xlsx(folder / "notices.xlsx", plan, rows, rank, notes, figures)
    for line in notes:
        warn(line)
    tell("drawing the map")
    page = plan_map(plan, layers, states, units=figures, tiles=choices.tiles, superseded=superseded)
    (folder / "map.html").write_text(page, encoding="utf-8", newline="\n")
    customers = states[place].customers
    addresses = dict(zip(customers.customer_id, customers.address, strict=True))
    page = work_day_page(plan, option=rank, units=figures, addresses=addresses)
    (folder / "work_day.html").write_text(page, encoding="utf-8", newline="\n")
    if choices.papers:
        tell("setting the papers")
        if words is not None and not words.lacking:
            _write_letters(plan, rows, words, folder / "letters.pdf", warn, figures.paper)
        _write_papers(plan, layers, states[place], rows, folder, figures, superseded, contacts)
    return rows


def _words(rows: Sequence[NoticeRow], choices: Choices) -> ChosenWords:
    from netplan.outputs.documents.letter_choice import choose_words
    from netplan.outputs.documents.letter_words import read_words

    return choose_words([row.language for row in rows], read_words(choices.words), choices.language)


def _write_letters(
    plan: Plan, rows: Sequence[NoticeRow], words: ChosenWords, path: Path, warn: Tell, paper: str
) -> None:
    from netplan.outputs.documents.letters import letters_pdf, signs_without_a_font

    path.write_bytes(letters_pdf(plan, rows, words, paper=paper))
    missing = signs_without_a_font(plan, rows, words)
    if missing:
        warn(missing)


def _write_papers(
    plan: Plan,
    layers: Mapping[str, gpd.GeoDataFrame],
    state: SolvedState,
    rows: Sequence[NoticeRow],
    folder: Path,
    figures: Figures,
    superseded: str,
    contacts: Contacts | None,
) -> None:
    # Loaded where papers are wanted: a third of what a plan without them loads of our own.
    from netplan.outputs.documents.call_and_tally_sheets import tally_pdf
    from netplan.outputs.documents.work_pack import work_pack_pdf

    option = option_of_rank(plan, state.option)
    tally = tally_pdf(plan, rows, option, contacts, superseded=superseded, units=figures)
    (folder / "tally_sheet.pdf").write_bytes(tally)
    pack = work_pack_pdf(plan, layers, state, units=figures, superseded=superseded)
    (folder / "work_pack.pdf").write_bytes(pack)


def _write_told(
    plan: Plan, rows: Sequence[NoticeRow], contacts: Contacts, path: Path, choices: Choices, superseded: str
) -> None:
    from netplan.outputs.documents.contact_call_sheet import call_sheet_with_contacts_pdf

    doubts = customers_in_doubt(option_of_rank(plan, choices.option))
    pdf = call_sheet_with_contacts_pdf(
        plan, rows, contacts, doubts, superseded=superseded, units=choices.figures
    )
    path.write_bytes(pdf)
    # Who is at risk without gas: for the owner's eyes until the owner hands it on.
    path.chmod(0o600)


def _write_call_sheet(
    result: PlanResult,
    rows: Sequence[NoticeRow],
    doubts: Sequence[CustomerInDoubt],
    path: Path,
    units: Figures,
) -> None:
    from netplan.outputs.documents.call_and_tally_sheets import call_sheet_pdf

    customers = result.network.customers
    places = {row.customer_id: customers.id.find(row.customer_id) for row in rows if row.priority}
    held = {id_: place for id_, place in places.items() if place >= 0}
    notes = {id_: customers.priority_note[place] for id_, place in held.items()}
    numbers = {id_: customers.telephone[place] for id_, place in held.items()}
    pdf = call_sheet_pdf(
        result.plan,
        rows,
        {**result.notes_in_doubt, **notes},
        doubts,
        telephones={**result.telephones_in_doubt, **numbers},
        units=units,
    )
    path.write_bytes(pdf)
    # Personal notes and numbers: for the owner's eyes until the owner hands it on.
    path.chmod(0o600)
