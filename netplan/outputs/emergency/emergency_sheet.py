"""The sheet of an emergency answer as PDF: page one to act on, then cards, who is off, what comes next."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

from netplan.outputs.atomic_writes import write_file
from netplan.outputs.documents.svg_drawing import stop_symbol
from netplan.outputs.documents.typeset import typeset
from netplan.outputs.emergency import answer_words as words
from netplan.outputs.emergency.network_in_view import NetworkInView
from netplan.outputs.emergency.ring_drawing import draw_hit, draw_ring, draw_stop
from netplan.outputs.emergency.ring_inside import inside_of
from netplan.outputs.emergency.ring_marks import map_legend
from netplan.outputs.emergency.ring_words import (
    NO_STOP,
    RingWords,
    StopWords,
    next_ring_rows,
    rings_in_words,
    stops_with_rings,
    tape_lines,
    valve_facts,
)
from netplan.outputs.emergency.solved_words import solved_parts
from netplan.outputs.emergency.word_forms import counted
from netplan.outputs.number_format import METRIC, Figures
from netplan.planfile.emergency_answer import EmergencyAnswer

__all__ = ["EMERGENCY_SHEET", "emergency_sheet", "write_sheet"]

EMERGENCY_SHEET: Final = "emergency.pdf"
_MAP_MM: Final = (92.0, 92.0)
_SKETCH_MM: Final = (86.0, 58.0)
_LEGEND_MM: Final = 186.0
_MOST_SKETCHES: Final = 60
"""Sketches on the sheet at most, those of the rings before those of next rings."""


def write_sheet(
    folder: Path, answer: EmergencyAnswer, view: NetworkInView, figures: Figures = METRIC
) -> None:
    """Write emergency.pdf to the folder of an answer, in place of the one before.

    Parameters
    ----------
    folder : Path
    answer : EmergencyAnswer
    view : NetworkInView
        As `write_answer` returned it.
    figures : Figures
        How figures are written.

    Raises
    ------
    BadInputError
        When it cannot be written.
    """
    pdf = emergency_sheet(answer, view, figures)
    write_file(folder / EMERGENCY_SHEET, lambda path: path.write_bytes(pdf))


def emergency_sheet(answer: EmergencyAnswer, view: NetworkInView, figures: Figures) -> bytes:
    """Return the sheet as PDF; see `write_sheet`."""
    rings = rings_in_words(answer, figures)
    cards = stops_with_rings(answer, figures)
    pictures = _pictures(answer, view, figures, rings)
    pictures |= {_symbol(stop): _symbol_svg(stop) for ring in rings for stop in ring.rows}
    pictures |= {_symbol(stop): _symbol_svg(stop) for stop, _ in cards}
    return typeset("emergency.typ", _data(answer, figures, rings, cards), pictures)


def _pictures(
    answer: EmergencyAnswer, view: NetworkInView, figures: Figures, rings: list[RingWords]
) -> dict[str, str]:
    inside = [inside_of(view.network, answer.hits, one.ring) for one in rings]
    found = {
        f"ring{k}": draw_ring(view, answer, one.ring, inside[k], figures, f"ring{k}", *_MAP_MM)
        for k, one in enumerate(rings)
    }
    first = rings[0].ring if rings else None
    found["hit"] = draw_hit(view, answer, first, inside[0] if inside else None, figures, "hit", *_MAP_MM)
    found["legend"] = map_legend(_LEGEND_MM, 6)
    for k, (stop, _) in enumerate(stops_with_rings(answer, figures)[:_MOST_SKETCHES]):
        found[f"card{k}"] = draw_stop(view, answer, stop.stop, figures, f"card{k}", *_SKETCH_MM)
    return found


def _data(
    answer: EmergencyAnswer, figures: Figures, rings: list[RingWords], cards: list[tuple[StopWords, str]]
) -> dict[str, Any]:
    told = words.notify_lines(answer, rings)
    reached = [
        f"TELL {whom} (ring {rings_named})" for whom, rings_named in words.reached_parties(answer, rings)
    ]
    return {
        "paper": figures.paper,
        "words": {
            "no-stop": NO_STOP,
            "no-gas-back": words.NO_GAS_BACK,
            "check-first": words.CHECK_FIRST,
            "not-for-distances": words.NOT_FOR_DISTANCES,
        },
        "governs": answer.governs,
        "make-safe": answer.make_safe,
        "title": words.title_of(answer),
        "meta": words.meta_line(answer, figures),
        "not-solved": words.NOT_SOLVED if answer.solved is None else "",
        "failed": words.failed_lines(answer),
        "hits": words.hit_lines(answer, figures),
        "all-shut": [words.ALL_SHUT] if len(answer.hits) > 1 else [],
        "services": words.service_lines(answer, figures),
        "keep-away": words.keep_away_line(answer, figures),
        "rings": [_ring(one) for one in rings],
        "ring-maps": [{"letter": one.letter, "picture": f"ring{k}"} for k, one in enumerate(rings)],
        "notify": told,
        "notify-line": "; ".join(reached),
        "priority-line": words.priority_line(answer),
        "priority": words.priority_rows(answer),
        "nearby-m": figures.length(answer.nearby_m),
        "nearby": words.nearby_rows(answer, figures),
        "escape-range": words.escape_range_lines(answer, figures),
        "escape": words.escape_lines(answer, figures),
        "escape-notes": words.escape_notes(answer, figures),
        "solved": solved_parts(answer, figures),
        "cards": [_card(k, stop, used, figures) for k, (stop, used) in enumerate(cards)],
        "next": [
            {"heading": row.heading, "line": row.line, "first": row.do_first, "stops": row.stops}
            for row in next_ring_rows(answer, figures)
        ],
        "who-line": words.who_line(answer),
        "who": [
            (street, counted(meters, "meter"), numbers)
            for street, meters, numbers in words.customers_by_street(answer)
        ],
        "tail": [part for part in words.tail_parts(answer, figures) if part[1]],
        "foot": words.foot_line(answer),
    }


def _ring(ring: RingWords) -> dict[str, Any]:
    return {
        "letter": ring.letter,
        "name": ring.name,
        "figures": f"{ring.minutes}; {ring.meters}, {ring.priority} priority; {ring.stations}.",
        "proof": ring.proof,
        "minutes": ring.minutes,
        "stops-count": ring.stops,
        "off": f"{ring.meters}, {ring.priority} priority",
        "stations": ring.stations,
        "first": ring.do_first,
        "stops": [
            {
                "symbol": _symbol(row),
                "name": row.name,
                "method": row.method,
                "street": row.street,
                "where": row.where,
                "crew": row.crew,
                "minutes": row.minutes,
                "ends": row.ends,
            }
            for row in ring.rows
        ],
    }


def _card(k: int, stop: StopWords, used: str, figures: Figures) -> dict[str, Any]:
    return {
        "symbol": _symbol(stop),
        "sketch": f"card{k}" if k < _MOST_SKETCHES else "",
        "name": stop.name,
        "method": stop.method,
        "street": stop.street,
        "used": used,
        "facts": valve_facts(stop.stop, figures),
        "tape": tape_lines(stop.stop, figures),
    }


def _symbol(stop: StopWords) -> str:
    return f"{stop.kind}{stop.n}"


def _symbol_svg(stop: StopWords) -> str:
    mark = stop_symbol(stop.kind, stop.n)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="8mm" height="8mm" viewBox="-4 -4 8 8">{mark}</svg>'
    )
