"""The folder of the notices of a difference against what it must hold."""

from __future__ import annotations

import csv
import tomllib
from collections import Counter
from pathlib import Path
from typing import Any

import openpyxl
from pypdf import PdfReader

from tests.whole_notices.expected import Expected, expected_of
from tests.whole_notices.filled_in import Filled

__all__ = ["check_notices"]

TEMPLATES = Path(__file__).resolve().parents[2] / "netplan" / "outputs" / "templates"
SHEETS = (
    "Goes off",
    "No longer off",
    "Times changed",
    "Kept",
    "Standby",
    "In doubt",
    "Day moved",
    "Address changed",
)
OPENED = {
    "taken_back": "takes back off",
    "now_off": "takes back",
    "new_times": "new times",
    "new_day": "new day",
    "replaces": "replaces",
}
BODIES = {"kept_standby": "kept, standby", "not_affected": "not affected"}

Lines = list[str]


def check_notices(
    folder: Path, old_rank: int, new_rank: int, log: Filled | None
) -> tuple[Lines, Counter[str]]:
    """Return what deviates, a line each, and what the pair holds."""
    wanted = expected_of(folder / "old", old_rank, folder / "new", new_rank, log)
    found: Lines = []
    made = folder / "notices"
    with (made / "notice_differences.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    _lists(rows, wanted, found)
    _workbook(made, rows, wanted, found)
    _letters(made, rows, wanted, found)
    _call_sheet(made, rows, found)
    holds = Counter({f"row: {name}": len(ids) for name, ids in wanted.lists.items()})
    holds.update(f"letter: {' '.join(filter(None, pair)) or 'none'}" for pair in wanted.letters.values())
    return found, holds


def _lists(rows: list[dict[str, str]], wanted: Expected, found: Lines) -> None:
    idents = [row["customer_id"] for row in rows]
    twice = [ident for ident, count in Counter(idents).items() if count > 1]
    if twice:
        found.append(f"CSV: twice: {twice[:3]}")
    if set(idents) != wanted.everybody:
        found.append(f"CSV: {sorted(set(idents) ^ wanted.everybody)[:3]} missing or too many")
    for name, ids in wanted.lists.items():
        there = {row["customer_id"] for row in rows if name in row["changes"].split("; ")}
        if there != ids:
            found.append(f"CSV: {name}: {len(there)} for {len(ids)}, {sorted(there ^ ids)[:3]}")
    for row in rows:
        ident = row["customer_id"]
        old, new = wanted.old.off.get(ident, (None, None)), wanted.new.off.get(ident, (None, None))
        said = tuple(row[name] or None for name in ("off_from_before", "on_by_before", "off_from", "on_by"))
        if said != (*old, *new):
            found.append(f"CSV: {ident}: times {said} for {(*old, *new)}")
        opening, body = wanted.letters[ident]
        if body:
            words = BODIES.get(body, body)
            held = row["letter"].startswith(words) and (
                OPENED[opening] in row["letter"] if opening else "(" not in row["letter"]
            )
        else:
            held = row["letter"].startswith("none: ")
        if not held:
            found.append(f"CSV: {ident}: letter {row['letter']!r} for {opening} {body}")


def _workbook(made: Path, rows: list[dict[str, str]], wanted: Expected, found: Lines) -> None:
    book = openpyxl.load_workbook(made / "notice_differences.xlsx")
    there: list[str] = []
    for title in SHEETS:
        for row in _dicts(book[title]):
            there.append(row["Meter point"])
            if not row["Address"] or not row["Plan"]:
                found.append(f"{title}: {row['Meter point']} has no address or plan")
    if sorted(there) != sorted(row["customer_id"] for row in rows):
        found.append("workbook: not every meter point of the CSV file once")
    for title, name in (
        ("Goes off", "goes off"),
        ("No longer off", "no longer off"),
        ("Times changed", "times changed"),
    ):
        own = {row["Meter point"] for row in _dicts(book[title])}
        if own != wanted.lists[name]:
            found.append(f"{title}: {sorted(own ^ wanted.lists[name])[:3]}")
    holding = {row["Meter point"] for row in _dicts(book["Still holds"])}
    if holding != wanted.new.listed - wanted.everybody:
        found.append(f"Still holds: {sorted(holding ^ (wanted.new.listed - wanted.everybody))[:3]}")
    totals = {row[0]: row[2] for row in book["Totals"].iter_rows(min_row=8, values_only=True) if row[0]}
    for name, ids in wanted.lists.items():
        if totals.get(name) != len(ids):
            found.append(f"Totals: {name}: {totals.get(name)} for {len(ids)}")


def _dicts(sheet: Any) -> list[dict[str, Any]]:
    head, *rows = sheet.iter_rows(values_only=True)
    return [dict(zip(head, row, strict=True)) for row in rows]


def _letters(made: Path, rows: list[dict[str, str]], wanted: Expected, found: Lines) -> None:
    if not (made / "letters.pdf").exists():
        if any(body for _, body in wanted.letters.values()):
            found.append("letters: none were made")
        return
    pages = [" ".join(page.extract_text().split()) for page in PdfReader(made / "letters.pdf").pages]
    titles = {
        path.name.split(".")[1]: tomllib.loads(path.read_text(encoding="utf-8"))
        for path in TEMPLATES.glob("words.*.toml")
    }
    to_write = {ident for ident, (_, body) in wanted.letters.items() if body}
    numbered = {row["customer_id"]: int(row["letter_no"]) for row in rows}
    if {ident for ident, page in numbered.items() if page} != to_write:
        found.append("letters: not everybody who must be written to has a page, or others have one")
    if to_write and max(numbered.values()) > len(pages):
        found.append(f"letters: page {max(numbered.values())} of {len(pages)}")
        return
    old_doors = {
        i for i in wanted.lists["address changed"] if wanted.old.door[i] not in wanted.new.door.values()
    }
    if to_write and not 0 <= len(pages) - len({numbered[i] for i in to_write}) <= len(old_doors):
        found.append(f"letters: {len(pages)} pages for {len({numbered[i] for i in to_write})} letters")
    for ident in sorted(to_write):
        page = pages[numbered[ident] - 1]
        address = wanted.new.door.get(ident, wanted.old.door.get(ident, ("", "", "")))[0]
        if address not in page:
            found.append(f"letters: {ident}: {address} is not on page {numbered[ident]}")
        opening, body = wanted.letters[ident]
        language = (wanted.new.language.get(ident) or wanted.old.language.get(ident) or "").split("-")[0]
        own = titles.get(language, titles["en"])
        said = str(own["change"][opening]).split("{")[0].split(":")[0].strip() if opening else ""
        if opening in ("taken_back", "new_day") and "undated" not in said:
            said = said[:20]
        if said not in page:
            found.append(f"letters: {ident}: page {numbered[ident]} does not begin as {opening}")
        last = str(own[body]["paragraphs"][0]).split("{")[0]
        if " ".join(last.split()) not in page:
            found.append(f"letters: {ident}: page {numbered[ident]} is no letter of {body}")


def _call_sheet(made: Path, rows: list[dict[str, str]], found: Lines) -> None:
    text = "\n".join(page.extract_text() for page in PdfReader(made / "call_sheet.pdf").pages)
    called = {row["customer_id"] for row in rows if row["priority"]}
    there = {row["customer_id"] for row in rows if row["customer_id"] in text}
    if called != there:
        found.append(f"call sheet: {sorted(called ^ there)[:3]}")
