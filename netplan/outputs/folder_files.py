"""The files of a plan folder, one after another."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import geopandas as gpd

from netplan.outputs.customers_in_doubt import CustomerInDoubt, customers_in_doubt
from netplan.outputs.documents.letters import letters_pdf
from netplan.outputs.documents.pack import work_pack_pdf
from netplan.outputs.documents.sheets import call_sheet_pdf, tally_pdf
from netplan.outputs.documents.words import read_words
from netplan.outputs.layers import plan_layers, write_layers
from netplan.outputs.map import plan_map
from netplan.outputs.notices import NoticeRow, notice_rows, notices_csv
from netplan.outputs.notices.workbook import write_notices_xlsx
from netplan.outputs.reader_choices import Choices
from netplan.planfile import SolvedState
from netplan.planfile.model import Plan
from netplan.planfile.plan_json import option_of_rank, plan_to_json
from netplan.planfile.plan_result import PlanResult

__all__ = ["write_contents", "write_deliverables"]

Tell = Callable[[str], None]


def write_contents(result: PlanResult, folder: Path, choices: Choices, tell: Tell) -> None:
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
    rows = write_deliverables(plan, layers, result.states, folder, choices, tell)
    if choices.papers:
        doubts = customers_in_doubt(option_of_rank(plan, choices.option))
        _write_call_sheet(result, rows, doubts, folder / "call_sheet_restricted.pdf")


def write_deliverables(
    plan: Plan,
    layers: Mapping[str, gpd.GeoDataFrame],
    states: Sequence[SolvedState],
    folder: Path,
    choices: Choices,
    tell: Tell,
) -> tuple[NoticeRow, ...]:
    """Write what a plan folder alone is enough for: map, notices, letters, tally sheet and work pack.

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

    Returns
    -------
    tuple of NoticeRow
        The notice list that was written.
    """
    figures, rank = choices.figures, choices.option
    place = plan.options.index(option_of_rank(plan, rank))
    tell("writing the notices")
    rows = notice_rows(plan, states[place])
    (folder / "notices.csv").write_text(notices_csv(rows), encoding="utf-8", newline="")
    write_notices_xlsx(folder / "notices.xlsx", plan, rows, rank)
    tell("drawing the map")
    page = plan_map(plan, layers, states, units=figures, tiles=choices.tiles)
    (folder / "map.html").write_text(page, encoding="utf-8", newline="\n")
    if not choices.papers:
        return rows
    tell("setting the papers")
    letters = letters_pdf(plan, rows, words=read_words(choices.words), language=choices.language)
    (folder / "letters.pdf").write_bytes(letters)
    (folder / "tally_sheet.pdf").write_bytes(tally_pdf(plan, rows))
    (folder / "work_pack.pdf").write_bytes(work_pack_pdf(plan, layers, states[place], units=figures))
    return rows


def _write_call_sheet(
    result: PlanResult, rows: Sequence[NoticeRow], doubts: Sequence[CustomerInDoubt], path: Path
) -> None:
    customers = result.network.customers
    places = {row.customer_id: customers.id.find(row.customer_id) for row in rows if row.priority}
    notes = {id_: customers.priority_note[place] for id_, place in places.items() if place >= 0}
    path.write_bytes(call_sheet_pdf(result.plan, rows, {**result.notes_in_doubt, **notes}, doubts))
    # Personal notes: for the owner's eyes until the owner hands it on.
    path.chmod(0o600)
