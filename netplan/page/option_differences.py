"""Options of the page, each with what it does otherwise than the first, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from netplan.outputs.number_format import METRIC
from netplan.planfile.option_differences import (
    CHEAPEST,
    FeedOutline,
    OptionOutline,
    StopOutline,
    differences_in_words,
)

__all__ = ["outline_of_figures", "with_differences"]


def with_differences(options: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return options, each with ``words``: what it does otherwise than the first."""
    if not options:
        return []
    first, *others = (outline_of_figures(one) for one in options)
    alone = CHEAPEST if others else f"{CHEAPEST} so far"
    words = [alone, *(differences_in_words(one, first, METRIC) for one in others)]
    return [{**one, "words": line} for one, line in zip(options, words, strict=True)]


def outline_of_figures(figures: Mapping[str, Any]) -> OptionOutline:
    """Return what an option is compared by, from its figures as `figures_of_option` returns them.

    Parameters
    ----------
    figures : mapping
    """
    stop_keys = ("id", "kind", "method", "main_id", "chainage_m", "valve_id", "x", "y")
    feeds = figures["feeds"]
    return OptionOutline(
        stops=tuple(StopOutline(*(stop[key] for key in stop_keys)) for stop in figures["stops"]),
        feeds=tuple(
            FeedOutline(row["kind"], row["bore_mm"], row["parallel"])
            for row in feeds
            if row["kind"] != "opened valve"
        ),
        opened_valves=tuple(row["id"] for row in feeds if row["kind"] == "opened valve"),
        customers_off=frozenset(row[2] for row in figures["off"]),
        meters_off=figures["notices"]["meters_off"]["value"],
    )
