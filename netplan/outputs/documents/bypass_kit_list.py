"""The kit list of a bypass or hose: pipe, valves, fittings, tests, route, purge, who stands at which end."""

from __future__ import annotations

import math
from collections.abc import Iterable

from netplan.core.constants import MM_PER_M
from netplan.outputs.item_words import joined_ids
from netplan.outputs.number_format import Figures
from netplan.planfile.model import Bypass, Option, PressureTest, Step

__all__ = ["kit_rows"]


def kit_rows(option: Option, bypass: Bypass, units: Figures) -> list[tuple[str, str]]:
    """Return what is brought for a bypass or hose, and who stands where, as names and values.

    Tests and people are those of the steps that change or man it; a plan without them gives what it has.
    """
    steps = [step for step in option.steps if _concerns(step, bypass.id)]
    hoses = bypass.parallel
    each = f"{hoses} × " if hoses > 1 else ""
    rows = [
        ("pipe", f"{each}{units.length(bypass.length_m)}, bore {units.bore(bypass.bore_mm)}"),
        ("end valves", f"{2 * hoses}: one at either end{' of each hose' if hoses > 1 else ''}"),
        ("fittings", _fittings(bypass, units)),
        ("ramps", str(bypass.crossings * hoses) if bypass.crossings else "none: no carriageway is crossed"),
        ("volume in the pipe", units.space(_volume_m3(bypass))),
    ]
    tests = [test for step in steps for test in step.pressure_tests if test.what == "feed"]
    rows += [("tightness test", _test(test, units)) for test in dict.fromkeys(tests)]
    rows += [("purge", words) for words in dict.fromkeys(_purges(steps, units))]
    rows += _manned(option, bypass)
    taps = [item.id for item in option.items if item.kind == "tapping" and item.of == bypass.id]
    if taps:
        rows.append(("tappings of its own", joined_ids(taps)))
    return rows


def _concerns(step: Step, feed: str) -> bool:
    return any(change.kind == "feed" and change.id == feed for change in step.changes)


def _fittings(bypass: Bypass, units: Figures) -> str:
    number = 2 * bypass.parallel
    if not bypass.outlets_mm:
        return f"{number} tees: outlets not on record"
    ends = dict.fromkeys(bypass.outlets_mm)
    if len(ends) == 1:
        return f"{number} tees with {units.bore(bypass.outlets_mm[0])} outlet, couplings to the bore"
    start, end = (units.bore(outlet) for outlet in bypass.outlets_mm)
    return f"{number} tees: outlet {start} at the giving end, {end} at the fed end; couplings to the bore"


def _volume_m3(bypass: Bypass) -> float:
    """Return the actual volume of the bores [m³]."""
    return math.pi / 4.0 * (bypass.bore_mm / MM_PER_M) ** 2 * bypass.length_m * bypass.parallel


def _test(test: PressureTest, units: Figures) -> str:
    return f"{units.against(test.test_mbar)} for {test.minutes:g} min with {test.medium}"


def _purges(steps: Iterable[Step], units: Figures) -> list[str]:
    return [
        f"from {step.purge.inlet} to {step.purge.outlet}, "
        + units.sentence(step.purge.end or step.purge.medium)
        for step in steps
        if step.purge is not None
    ]


def _manned(option: Option, bypass: Bypass) -> list[tuple[str, str]]:
    """Return for each end valve in which steps somebody stands at it; the name is written in."""
    rows = []
    for item in option.items:
        if item.kind != "valve" or item.of != bypass.id:
            continue
        steps = [str(step.n) for step in option.steps if item.id in step.manned]
        if steps:
            rows.append((f"at {item.id}", f"manned in steps {joined_ids(steps)}; name:"))
    return rows
