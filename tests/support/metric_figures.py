"""Metric figures in what people read in US units, found by a rule of its own."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from html import unescape
from typing import Any, Final

__all__ = ["metric_figures", "page_texts", "texts_of"]

_UNIT: Final = (
    "mbar|bar|hPa|kPa|MPa|Pa|m³/h|m3/h|m³|m3|m²|l/min|l/h|litres?|m/s|mm|cm|dm|km|metres?|m|°C|kg|g|kWh|kW|MJ"
)
_AFTER_NUMBER: Final = re.compile(rf"(?<![\w#:/-])[-−]?\d[\d,.]*(?: ?)(?:{_UNIT})(?![\w³²/°+])")
_ALONE: Final = re.compile(r"(?<![\w.])(?:mbar|kPa|m³/h|m³|l/min|mm|°C)(?!\w)|\[(?:m|kg|bar)\]")


def metric_figures(text: str) -> list[str]:
    """Return the metric figures, and metric units without one, of a text."""
    return [found[0] for rule in (_AFTER_NUMBER, _ALONE) for found in rule.finditer(text)]


def texts_of(value: Any) -> Iterator[str]:
    """Yield the texts of JSON data, its keys left out."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from texts_of(one)
    elif isinstance(value, list | tuple):
        for one in value:
            yield from texts_of(one)


def page_texts(page: str) -> Iterator[str]:
    """Yield what a page shows: texts of its data, and of its own elements."""
    for found in re.finditer(r'<script type="application/json"[^>]*>(.*?)</script>', page, re.DOTALL):
        yield from texts_of(json.loads(unescape(found[1])))
    body = re.sub(r"<(script|style)\b.*?</\1>", "", page, flags=re.DOTALL)
    yield from (unescape(text) for text in re.findall(r">([^<]+)<", body))
