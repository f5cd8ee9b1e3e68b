"""Text of the data in a drawing of the papers is text, whatever stands in it (own)."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest

from netplan.outputs.documents.svg_drawing import DrawingSheet
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
