"""Three invented company exports, planned through their mappings to the plan of the network they came from."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest

from netplan.cli.sample import DEMO_WORK, sample_network
from netplan.network.contract import layer_specs
from netplan.network.model import Network
from netplan.network.work_section import WorkPart
from netplan.planfile.plan_json import plan_to_json
from netplan.planning.make_plan import PlanRequest, make_plan
from netplan.readers import open_source, read_layers, read_mapping, read_network
from netplan.readers.mapping import parse_mapping
from netplan.readers.mapping.draft_mapping import draft_mapping
from netplan.rules import read_rules
from tests.company_exports import CODES, EXPORTS, MAPPINGS, write_export

_NUMBER = re.compile(r"\d+(?:\.\d+)?")
LOSSLESS = ("german", "coded")


def _plan(network: Network) -> dict[str, Any]:
    # A slow machine must not end the search early: then equal networks give unequal proofs.
    rules = read_rules(None, {"choice": {"seconds": 600.0}})
    result = make_plan(PlanRequest(network=network, parts=(WorkPart(*DEMO_WORK),), rules=rules))
    plan: dict[str, Any] = json.loads(plan_to_json(result.plan))
    plan.pop("provenance")
    return plan


@lru_cache(maxsize=1)
def _native() -> Network:
    return read_network(sample_network())


@lru_cache(maxsize=1)
def _native_plan() -> str:
    return json.dumps(_plan(_native()))


@pytest.fixture(scope="module")
def exports(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("exports")
    return {name: write_export(name, folder / name) for name in EXPORTS}


def _mapped(name: str, place: Path) -> Network:
    return read_network(place, mapping=read_mapping(MAPPINGS / f"{name}.toml"))


@pytest.mark.parametrize("name", LOSSLESS)
def test_a_lossless_export_gives_the_same_bytes(exports: dict[str, Path], name: str) -> None:
    network = _mapped(name, exports[name])
    assert network.content_sha256 == _native().content_sha256
    assert network.findings == _native().findings
    assert json.dumps(_plan(network)) == _native_plan()


def test_a_rounded_export_gives_the_same_stops_and_customers(exports: dict[str, Path]) -> None:
    # Inches to four decimals are 0.0013 mm, feet 0.015 mm, psi 0.003 mbar, inches of water 0.0001 mbar.
    mapped, native = _plan(_mapped("american", exports["american"])), json.loads(_native_plan())
    assert mapped["network"]["content_sha256"] != native["network"]["content_sha256"]
    for plan in (mapped, native):
        for key in ("content_sha256", "crs", "crs_note"):
            plan["network"].pop(key)
    assert len(mapped["options"]) == len(native["options"])
    for ours, theirs in zip(mapped["options"], native["options"], strict=True):
        for key in ("stops", "customers", "bypasses"):
            assert [row["id"] for row in ours[key]] == [row["id"] for row in theirs[key]]
        assert ours["burden"] == pytest.approx(theirs["burden"], rel=1e-3)
    differences = list(_differences(mapped, native, ""))
    assert not differences, differences[:20]


def _differences(ours: Any, theirs: Any, where: str) -> Iterator[str]:
    """Yield where two plans differ: words must be the same; numbers, in sentences too, to a thousandth."""
    if isinstance(ours, dict) and isinstance(theirs, dict):
        if ours.keys() != theirs.keys():
            yield f"{where}: keys"
        for key in ours.keys() & theirs.keys():
            yield from _differences(ours[key], theirs[key], f"{where}.{key}")
    elif isinstance(ours, list) and isinstance(theirs, list):
        if len(ours) != len(theirs):
            yield f"{where}: {len(ours)} and {len(theirs)}"
        for at, (one, other) in enumerate(zip(ours, theirs, strict=False)):
            yield from _differences(one, other, f"{where}[{at}]")
    elif isinstance(ours, int | float) and isinstance(theirs, int | float):
        if ours != pytest.approx(theirs, rel=1e-3, abs=0.011):
            yield f"{where}: {ours} and {theirs}"
    elif isinstance(ours, str) and isinstance(theirs, str):
        yield from _said_differently(ours, theirs, where)
    elif ours != theirs:
        yield f"{where}: {str(ours)[:200]!r} and {str(theirs)[:200]!r}"


def _said_differently(ours: str, theirs: str, where: str) -> Iterator[str]:
    if _NUMBER.sub("#", ours) != _NUMBER.sub("#", theirs):
        yield f"{where}: {ours[:200]!r} and {theirs[:200]!r}"
        return
    for one, two in zip(_NUMBER.findall(ours), _NUMBER.findall(theirs), strict=True):
        yield from _differences(float(one), float(two), where)


def _with_words(text: str, table: str, words: dict[str, str]) -> str:
    """Return a draft with words filled in under ``[table.values]``, as a person would."""
    head, mark, rest = text.partition(f"[{table}.values]")
    assert mark, f"the draft has no {table}"
    section, gap, after = rest.partition("\n\n")
    for word, meant in words.items():
        section = re.sub(rf'^"{re.escape(word)}" = "[^"]*"', f'"{word}" = "{meant}"', section, flags=re.M)
    return head + mark + section + gap + after


def _with_units(text: str) -> str:
    """Return a draft with its open units filled in, those of the contract: the exports keep them so."""
    units = {column.name: column.unit for spec in layer_specs().values() for column in spec.columns}
    return re.sub(
        r'^(\w+) = (.*)unit = "\?"',
        lambda m: f'{m[1]} = {m[2]}unit = "{units[m[1]]}"',
        text,
        flags=re.M,
    )


def _with_systems(text: str, systems: dict[str, str]) -> str:
    """Return a draft with the names of the pressure systems of the sample."""
    for table in re.findall(r"^\[(\w+\.columns\.system)\.values\]", text, flags=re.M):
        text = _with_words(text, table, systems)
    return text


def _edited(name: str, text: str) -> str:
    """Return the draft with what nobody can guess: units, pressure systems, grades, codes, prefixes."""
    text = _with_units(text)
    # A year of the sample that cannot be: kept, as the mapping of the tests does.
    text = text.replace('"1099" = "?"', '"1099" = 1099')
    if name == "german":
        return text
    if name == "american":
        for table in ("mains.columns.material", "services.columns.material"):
            text = _with_words(text, table, {"HDPE": "PE100"})
        return _with_systems(text, {"Utilization": "LP", "Intermediate": "MP"})
    for table, columns in _CODED_TABLES.items():
        for column in columns:
            codes = {str(code): word for code, word in enumerate(CODES[column])}
            text = _with_words(text, f"{table}.columns.{column}", codes)
    text = _with_systems(text, {"0": "MP", "1": "LP"})
    for name_, source in (("id", "recordNo"), ("station_id", "ofStation")):
        text = re.sub(
            rf'^{name_} = "{source}"$',
            f'{name_} = {{ from = "{source}", drop_prefix = "@" }}',
            text,
            flags=re.M,
        )
    for table, prefix in _CODED_PREFIXES.items():
        head, mark, rest = text.partition(f"[[{table}]]")
        replaced = rest.replace(
            'drop_prefix = "@"', f'drop_prefix = "{prefix}:", replace = {{ ":" = "-" }}', 1
        )
        text = head + mark + replaced
    return text.replace(
        '{ from = "fedBy", split = "|" }', '{ from = "fedBy", split = "|", drop_prefix = "svc:" }'
    )


_CODED_TABLES = {
    "mains": ("material", "surface", "status", "joint", "host"),
    "services": ("material", "status", "excess_flow_valve"),
    "customers": ("category", "priority"),
    "regulators": ("status",),
    "valves": ("state", "operable"),
    "fittings": ("kind",),
}
_CODED_PREFIXES = {
    "mains": "net",
    "services": "svc",
    "customers": "dp",
    "regulators": "reg",
    "sensing_points": "reg",
    "valves": "val",
    "fittings": "cmp",
    "injections": "ent",
}


# What the exports leave to a person: units that no name or value tells, words and codes of their own.
ASKED = {
    "german": {
        "year",
        "unit of annual_kwh",
        "unit of peak_kw",
        "unit of outlet_mbar",
        "unit of capacity_m3h",
        "unit of size_mm",
    },
    "american": {"year", "system"},
    "coded": {
        *("material", "system", "surface", "status", "year", "joint", "host", "excess_flow_valve"),
        *("category", "priority", "state", "operable", "kind"),
        *(f"unit of {name}" for name in ("od_mm", "bore_mm", "mop_mbar", "depth_m", "annual_kwh")),
        *(f"unit of {name}" for name in ("peak_kw", "outlet_mbar", "max_outlet_mbar", "capacity_m3h")),
        "unit of size_mm",
    },
}


@pytest.mark.parametrize("name", EXPORTS)
def test_a_draft_is_read_as_it_is_and_a_small_edit_makes_it_whole(
    exports: dict[str, Path], name: str, tmp_path: Path
) -> None:
    draft = draft_mapping(open_source(exports[name]))
    as_it_is = read_layers(exports[name], mapping=parse_mapping(draft.text))
    gaps = [finding for finding in as_it_is.findings if finding.code == "mapping-gap"]
    assert gaps
    asked = {gap.partition(": ")[2].partition(" '")[0] for gap in draft.gaps}
    assert asked == ASKED[name]
    edited = parse_mapping(_edited(name, draft.text))
    network = read_network(exports[name], mapping=edited)
    # The same content is the same plan: see the tests above.
    assert network.content_sha256 == _mapped(name, exports[name]).content_sha256
    assert not [finding for finding in network.findings if finding.code == "mapping-gap"]
