"""Figures as people read them, metric and US; summary on the screen."""

from __future__ import annotations

import io
import math

import pytest
from rich.console import Console

from netplan.core.errors import BadInputError
from netplan.outputs.number_format import METRIC, US, figures_of
from netplan.outputs.terminal.plan_summary import print_summary
from tests.support.hamlet import HOSTILE
from tests.support.plans import hamlet_result


def test_pressures_to_a_tenth_and_flows_to_three_figures() -> None:
    assert METRIC.pressure(23.456) == "23.5 mbar"
    assert METRIC.flow(1234.5) == "1230 m³/h"
    assert METRIC.flow(3.1) == "3.10 m³/h"
    assert METRIC.flow(0.012345) == "0.0123 m³/h"
    assert METRIC.flow(0.0) == "0 m³/h"
    assert METRIC.temperature(-8.0) == "−8.0 °C"


def test_us_figures_by_their_definitions() -> None:
    # Exact by definition: 1 in = 25.4 mm, 1 ft = 0.3048 m; 1 inH2O at 4 °C = 249.0889 Pa (from memory).
    assert US.size(101.6) == "4.00 in"
    assert US.length(30.48) == "100.0 ft"
    assert US.pressure(7 * 2.490889) == "7.00 in. w.c."
    assert US.temperature(-8.0) == "17.6 °F"
    assert US.flow(100 * 0.3048**3) == "100 ft³/h"


@pytest.mark.parametrize("value", [None, math.nan, math.inf])
def test_unknown_figures_are_a_dash(value: float | None) -> None:
    assert METRIC.pressure(value) == "–"


def test_unknown_system_of_units_is_refused() -> None:
    assert figures_of("us") is US
    with pytest.raises(BadInputError, match="use metric or us"):
        figures_of("imperial")


def _screen(*, hostile: bool, width: int = 200) -> str:
    stream = io.StringIO()
    print_summary(hamlet_result(hostile=hostile).plan, Console(file=stream, width=width))
    return stream.getvalue()


def test_summary_says_what_people_ask() -> None:
    text = _screen(hostile=False)
    for words in ("M-TAIL", "bag stop", "8 isolated", "8 stranded", "3.10 m³/h", "1.55", "no permit"):
        assert words in text, words


def test_summary_shows_markup_as_text() -> None:
    text = _screen(hostile=True, width=700)
    assert HOSTILE[8] in text
    assert "\x1b" not in text
