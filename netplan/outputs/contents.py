"""The files of a plan folder, one after another."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from netplan.outputs.figures import figures_of
from netplan.outputs.layers import plan_layers, write_layers
from netplan.outputs.map import plan_map
from netplan.outputs.notices import NoticeRow, notice_rows, notices_csv
from netplan.outputs.notices.workbook import write_notices_xlsx
from netplan.outputs.papers.letters import letters_pdf
from netplan.outputs.papers.pack import work_pack_pdf
from netplan.outputs.papers.sheets import call_sheet_pdf, tally_pdf
from netplan.plan.result import PlanResult
from netplan.plan.schema import plan_to_json

__all__ = ["write_contents"]


def write_contents(
    result: PlanResult, folder: Path, *, units: str, option: int, progress: Callable[[str], None]
) -> None:
    """Write every file of a plan into an empty folder.

    Raises
    ------
    BadInputError
        When the units or the option are unknown.
    OSError
        When a file cannot be written.
    """
    figures = figures_of(units)
    plan = result.plan
    progress("plan.json")
    (folder / "plan.json").write_text(plan_to_json(plan), encoding="utf-8", newline="\n")
    progress("plan.gpkg")
    layers = plan_layers(result)
    write_layers(layers, folder / "plan.gpkg")
    progress("notices")
    rows = notice_rows(plan, layers["customers"], option)
    (folder / "notices.csv").write_text(notices_csv(rows), encoding="utf-8", newline="")
    write_notices_xlsx(folder / "notices.xlsx", plan, rows, option)
    (folder / "letters.pdf").write_bytes(letters_pdf(plan, rows))
    (folder / "tally_sheet.pdf").write_bytes(tally_pdf(plan, rows))
    _write_call_sheet(result, rows, folder / "call_sheet_restricted.pdf")
    progress("map.html")
    (folder / "map.html").write_text(plan_map(plan, layers, units=figures), encoding="utf-8", newline="\n")
    progress("work_pack.pdf")
    (folder / "work_pack.pdf").write_bytes(work_pack_pdf(plan, layers, rank=option, units=figures))


def _write_call_sheet(result: PlanResult, rows: Sequence[NoticeRow], path: Path) -> None:
    customers = result.network.customers
    places = {row.customer_id: customers.id.find(row.customer_id) for row in rows if row.priority}
    notes = {id_: customers.priority_note[place] for id_, place in places.items() if place >= 0}
    path.write_bytes(call_sheet_pdf(result.plan, rows, notes))
    # Personal notes: for the owner's eyes until the owner hands it on.
    path.chmod(0o600)
