"""The page of the work's day: one file for a phone that opens without any network and asks for nothing."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping
from importlib import resources
from string import Template
from typing import Any, Final

from netplan.outputs.number_format import METRIC, Figures
from netplan.outputs.work_day.page_data import page_data
from netplan.planfile.model import Plan

__all__ = ["work_day_page"]

_SCRIPTS: Final = (
    "elements.js",
    "readings.js",
    "log.js",
    "order.js",
    "steps.js",
    "meters.js",
    "failures.js",
    "log_files.js",
    "start.js",
)


def work_day_page(
    plan: Plan, *, option: int = 1, units: Figures = METRIC, addresses: Mapping[str, str] | None = None
) -> str:
    """Return the page as one HTML file.

    It forbids itself every request; styles and scripts run by their digest alone, so that text from the data
    cannot become any of them.

    Parameters
    ----------
    plan : Plan
    option : int
        Rank of the option that it opens with; all are in it.
    units : Figures
        How figures are written.
    addresses : mapping of str to str, optional
        Addresses of customers, by id; without it those that the plan names.
    """
    script = "\n".join(_static(name) for name in _SCRIPTS)
    style = _static("work_day.css")
    policy = (
        f"default-src 'none'; script-src '{_digest(script)}'; style-src '{_digest(style)}'; "
        "base-uri 'none'; form-action 'none'"
    )
    return Template(_static("work_day.html")).substitute(
        policy=policy, style=style, script=script, data=_json(page_data(plan, option, units, addresses or {}))
    )


def _json(data: dict[str, Any]) -> str:
    """Return data as JSON that may stand inside a script element, whatever its texts hold."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for letter in "&<>\u2028\u2029":
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return text


def _digest(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _static(name: str) -> str:
    return resources.files("netplan.outputs.work_day").joinpath("static", name).read_text(encoding="utf-8")
