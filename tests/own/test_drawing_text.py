"""Drawings of the papers: text of the data is text, whatever stands in it; marks stand clear of each other (own)."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from netplan.outputs.documents.marks_with_leaders import MarksWithLeaders
from netplan.outputs.documents.svg_drawing import DrawingSheet, letter_symbol
from tests.support.hamlet import HOSTILE


@pytest.mark.parametrize("words", [*HOSTILE, "Mill & Sons <b>Lane</b>", "</text><script/>"])
def test_words_are_text_in_the_drawing(words: str) -> None:
    sheet = DrawingSheet((0.0, 0.0, 100.0, 80.0), 100.0, 80.0)
    sheet.text((50.0, 40.0), words)
    drawn = ET.fromstring(sheet.svg())  # noqa: S314 - our own drawing
    texts = [part for part in drawn.iter() if part.tag.endswith("text")]
    assert len(texts) == 1
    assert "".join(texts[0].itertext()) == words.replace("\u202e", "")[:60]
    assert not list(texts[0])


def test_marks_of_places_close_together_stand_clear_of_each_other() -> None:
    sheet = DrawingSheet((0.0, 0.0, 178.0, 150.0), 178.0, 150.0)
    marks = MarksWithLeaders(sheet, np.array([90.0, 75.0]))
    places = [(90.0 + 0.5 * k, 76.0 + 0.3 * k) for k in range(9)]
    for place in places:
        marks.keep_clear(place)
    for place in places:
        marks.put(place, 0.95, letter_symbol("G1"))
    found = re.findall(r'<g transform="translate\((\S+) (\S+)\)"><circle r="2.2"', sheet.svg())
    at = np.array(found, dtype=float)
    assert len(at) == len(places)
    apart = np.hypot(*(at[:, None] - at[None, :]).transpose(2, 0, 1))
    assert apart[~np.eye(len(at), dtype=bool)].min() > 2 * 3.1, "no two marks touch"
    on = sheet.place(np.array(places))
    assert np.hypot(*(at[:, None] - on[None, :]).transpose(2, 0, 1)).min() > 3.1, "no mark hides a place"
    assert ((at > 3.0) & (at < np.array([178.0, 150.0]) - 3.0)).all()
