"""The page of an emergency answer: one HTML file that asks nothing of anybody and prints well."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Sequence
from html import escape
from importlib import resources
from typing import Final

from netplan.core.printable_text import shown_signs
from netplan.outputs.documents.svg_drawing import stop_symbol
from netplan.outputs.emergency import answer_headings as headings
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
from netplan.outputs.number_format import Figures
from netplan.planfile.emergency_answer import EmergencyAnswer

__all__ = ["emergency_page"]

_MAP_MM: Final = 110.0
_HIT_MM: Final = 90.0
_SKETCH_MM: Final = (80.0, 56.0)
_MOST_SKETCHES: Final = 24
"""Sketches on the page at most, those of the rings before those of next rings: it has to be there at once."""


def emergency_page(answer: EmergencyAnswer, view: NetworkInView, figures: Figures) -> str:
    """Return the page as one HTML file.

    It forbids itself every request; its style and script run by their digest alone, so that text from the
    data can become neither.

    Parameters
    ----------
    answer : EmergencyAnswer
    view : NetworkInView
        The network that the answer was made from.
    figures : Figures
        How figures are written.
    """
    style, script = (_static(f"emergency.{kind}") for kind in ("css", "js"))
    policy = (
        f"default-src 'none'; script-src '{_digest(script)}'; style-src '{_digest(style)}'; "
        "base-uri 'none'; form-action 'none'"
    )
    title = _t(words.title_of(answer))
    body = "\n".join(_body(answer, view, figures))
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta name="referrer" content="no-referrer">'
        f"<title>{title}</title><style>{style}</style></head>\n<body>\n{body}\n"
        f"<script>{script}</script></body></html>\n"
    )


def _body(answer: EmergencyAnswer, view: NetworkInView, figures: Figures) -> Iterable[str]:
    rings = rings_in_words(answer, figures)
    yield f'<p class="governs">{_t(answer.governs)}</p>'
    yield f'<ol class="safe">{"".join(f"<li>{_t(line)}</li>" for line in answer.make_safe)}</ol>'
    yield f"<h1>{_t(words.title_of(answer))}</h1>"
    yield f'<p class="meta">{_t(words.meta_line(answer, figures))}</p>'
    if answer.solved is None:
        yield f'<p class="state">{_t(words.NOT_SOLVED)}</p>'
    for line in words.failed_lines(answer):
        yield f'<p class="strip">{_t(line)}</p>'
    yield from _hits(answer, figures)
    yield from _choice(rings)
    for k, ring in enumerate(rings):
        inside = inside_of(view.network, answer.hits, ring.ring)
        yield from _ring(ring)
        yield '<div class="pair">'
        yield _map(
            draw_ring(view, answer, ring.ring, inside, figures, f"ring{k}", _MAP_MM, _MAP_MM), ring.letter
        )
        if k == 0:
            near = draw_hit(view, answer, ring.ring, inside, figures, "hit", _MAP_MM, _HIT_MM)
            yield f"<div>{_map(near, 'the hit')}{map_legend(_MAP_MM, 3)}</div>"
        yield "</div>"
    yield f'<p class="strip">{_t(words.NO_GAS_BACK)}</p>'
    told = words.notify_lines(answer, rings)
    yield from _listed(
        headings.WHOM_TO_TELL, (f"{'TELL ' if reached else ''}{whom}: {when}" for whom, when, reached in told)
    )
    yield from _priority(answer)
    yield from _nearby(answer, figures)
    yield from _escape(answer, figures)
    for heading, lines in solved_parts(answer, figures):
        yield from _listed(heading, lines)
    yield from _cards(answer, view, figures)
    yield from _next_rings(answer, figures)
    yield from _who(answer)
    for heading, lines in words.tail_parts(answer, figures):
        yield from _listed(heading, lines)
    yield f'<p class="small">{_t(words.foot_line(answer))}</p>'


def _hits(answer: EmergencyAnswer, figures: Figures) -> Iterable[str]:
    yield f"<h2>{headings.WHAT_WAS_HIT}</h2>"
    rows = "".join(
        f"<li><b>{_t(name)}</b>: {_t(line)}</li>" for name, line in words.hit_lines(answer, figures)
    )
    yield f"<ul>{rows}</ul>"
    if len(answer.hits) > 1:
        yield f'<p class="strip">{_t(words.ALL_SHUT)}</p>'
    for line in words.service_lines(answer, figures):
        yield f'<p class="strip">{_t(line)}</p>'
    yield f"<p><b>{_t(words.keep_away_line(answer, figures))}</b></p>"
    for line in words.escape_range_lines(answer, figures):
        yield f"<p>{_t(line)}</p>"


def _choice(rings: Sequence[RingWords]) -> Iterable[str]:
    yield f"<h2>{headings.WHAT_TO_SHUT}</h2>"
    head = "".join(f"<th>{name}</th>" for name in ("ring", "minutes", "stops", "without gas", "stations"))
    rows = "".join(
        f"<tr><td><b>{ring.letter}: {_t(ring.name)}</b><br><span class=where>{_t(ring.proof)}</span></td>"
        f'<td class="figures">{_t(ring.minutes)}</td><td>{_t(ring.stops)}</td>'
        f'<td class="figures">{_t(ring.meters)}, {ring.priority} priority</td>'
        f"<td>{_t(ring.stations)}</td></tr>"
        for ring in rings
    )
    yield f'<table class="choice"><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>'


def _ring(ring: RingWords) -> Iterable[str]:
    yield f"<h2>Ring {ring.letter}: {_t(ring.name)}</h2>"
    yield (
        f'<p class="figures">{_t(ring.minutes)}; {_t(ring.meters)}, {ring.priority} priority; '
        f"{_t(ring.stations)}.</p>"
    )
    if ring.do_first:
        lines = "".join(f"<li><b>&#9650; FIRST</b>{_t(line)}</li>" for line in ring.do_first)
        yield f'<div class="first"><ul>{lines}</ul></div>'
    yield _stops_table(ring.rows) if ring.rows else f"<p><b>{_t(NO_STOP)}</b></p>"


def _stops_table(rows: Iterable[StopWords]) -> str:
    head = "".join(f"<th>{name}</th>" for name in headings.STOP_COLUMNS)
    body = "".join(
        f'<tr><td class="n">{_symbol(row.kind, row.n)}</td><td><b>{_t(row.name)}</b>, {_t(row.method)}</td>'
        f'<td class="where"><b>{_t(row.street)}</b>; {_t(row.where)}</td>'
        f'<td data-name="crew">{_t(row.crew)}</td><td data-name="minutes">{_t(row.minutes)}</td>'
        f'<td data-name="shut at minute" class="figures">{_t(row.ends)}</td><td></td></tr>'
        for row in rows
    )
    return f'<table class="stops"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'


def _map(svg: str, name: str) -> str:
    return f'<div class="map" role="group" aria-label="map of {_t(name)}">{svg}</div>'


def _symbol(kind: str, number: int) -> str:
    return f'<svg class="sym" viewBox="-4 -4 8 8" aria-hidden="true">{stop_symbol(kind, number)}</svg>'


def _listed(heading: str, lines: Iterable[str]) -> Iterable[str]:
    rows = "".join(f"<li>{_t(line)}</li>" for line in lines)
    if rows:
        yield f"<h2>{_t(heading)}</h2><ul>{rows}</ul>"


def _priority(answer: EmergencyAnswer) -> Iterable[str]:
    rows = words.priority_rows(answer)
    yield f"<h2>{headings.PRIORITY}</h2>"
    if not rows:
        yield f"<p>{headings.NO_PRIORITY}</p>"
        return
    lines = "".join(
        f"<li><b>! {_t(address)}</b>: {_t(why)}, {_t(meters)}; {_t(off)}</li>"
        for address, why, meters, off in rows
    )
    yield f"<ul>{lines}</ul>"


def _nearby(answer: EmergencyAnswer, figures: Figures) -> Iterable[str]:
    yield f"<h2>{_t(headings.addresses_within(figures.length(answer.nearby_m)))}</h2>"
    yield f"<p><b>{_t(words.CHECK_FIRST)}</b></p>"
    rows = words.nearby_rows(answer, figures)
    lines = "".join(
        f"<li>{_t(address)}, {_t(away)}{f' <b>! {_t(priority)}</b>' if priority else ''}</li>"
        for address, away, priority in rows
    )
    yield f'<ol class="cols">{lines}</ol>' if rows else f"<p>{headings.NO_ADDRESS_NEAR}</p>"


def _escape(answer: EmergencyAnswer, figures: Figures) -> Iterable[str]:
    yield f"<h2>{headings.ESCAPING}</h2>"
    yield f"<p><b>{_t(words.NOT_FOR_DISTANCES)}</b></p>"
    for line in words.escape_lines(answer, figures):
        yield f"<p>{_t(line)}</p>"
    for note in words.escape_notes(answer, figures):
        yield f'<p class="small">{_t(note)}</p>'


def _cards(answer: EmergencyAnswer, view: NetworkInView, figures: Figures) -> Iterable[str]:
    yield '<h2>Stop cards</h2><div class="cards">'
    for k, (stop, used) in enumerate(stops_with_rings(answer, figures)):
        drawn = k < _MOST_SKETCHES
        sketch = draw_stop(view, answer, stop.stop, figures, f"card{k}", *_SKETCH_MM) if drawn else ""
        facts = valve_facts(stop.stop, figures)
        rows = "".join(f"<tr><th>{_t(name)}</th><td>{_t(value)}</td></tr>" for name, value in facts)
        tape = "".join(f"<li>{_t(line)}</li>" for line in tape_lines(stop.stop, figures))
        yield (
            f'<section class="card"><h3>{_symbol(stop.kind, stop.n)} {_t(stop.name)}, {_t(stop.method)}, '
            f"{_t(stop.street)}</h3><p class=small>{_t(used)}</p>{sketch}<table>{rows}</table>"
            f"<p>Tape:</p><ul>{tape}</ul></section>"
        )
    yield "</div>"


def _next_rings(answer: EmergencyAnswer, figures: Figures) -> Iterable[str]:
    rows = next_ring_rows(answer, figures)
    if not rows:
        return
    yield f"<h2>{headings.IF_A_VALVE_FAILS}</h2>"
    for row in rows:
        yield f"<h3>{_t(row.heading)}</h3><p>{_t(row.line)}</p>"
        if row.do_first:
            lines = "".join(f"<li><b>&#9650; FIRST</b>{_t(line)}</li>" for line in row.do_first)
            yield f'<div class="first"><ul>{lines}</ul></div>'
        if row.stops:
            yield f"<ol>{''.join(f'<li>{_t(line)}</li>' for line in row.stops)}</ol>"


def _who(answer: EmergencyAnswer) -> Iterable[str]:
    streets = words.customers_by_street(answer)
    yield f"<h2>{headings.WHO_IS_WITHOUT}</h2>"
    yield f"<p>{_t(words.who_line(answer))}</p>"
    lines = "".join(
        f"<li><b>{_t(street)}</b> ({_t(counted(meters, 'meter'))}): {_t(numbers)}</li>"
        for street, meters, numbers in streets
    )
    yield f"<ul>{lines}</ul>"


def _t(text: object) -> str:
    """Return text from the data as text of the page, never markup."""
    return escape(shown_signs(str(text)), quote=True)


def _digest(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _static(name: str) -> str:
    return resources.files("netplan.outputs.emergency").joinpath("static", name).read_text(encoding="utf-8")
