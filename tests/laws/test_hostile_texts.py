"""Mappings, rules and sizes from anybody: read, or refused in one line; never anything else, never code run.

A long hunt: ``NETPLAN_EXAMPLES=20000 pytest tests/laws/test_hostile_texts.py``.
"""

from __future__ import annotations

import json
import math
import os
from pathlib import Path
from typing import Any

import pyarrow as pa
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from pyproj import CRS

from netplan.core.errors import BadInputError, BadRulesError, NetplanError
from netplan.network.contract import layer_specs
from netplan.network.raw_layers import LINE, POINT, FlatShapes, RawLayer
from netplan.readers.mapping import mapped_layers, parse_mapping
from netplan.readers.mapping.draft_mapping import draft_mapping
from netplan.readers.mapping.mapped_texts import ids
from netplan.readers.mapping.mapping_file import ColumnRule, Mapping
from netplan.readers.sources.layer_source import Field
from netplan.reference.size_text import read_size
from netplan.rules import default_rules_text, read_rules
from netplan.rules.rule_set import Rules
from tests.support.shares import at_least, seen

EXAMPLES = int(os.environ.get("NETPLAN_EXAMPLES", "60"))
HUNT = settings(
    max_examples=EXAMPLES,
    deadline=None,
    derandomize="NETPLAN_EXAMPLES" not in os.environ,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
SIZE_WORDS = st.sampled_from(
    [
        "8",
        "in",
        "IPS",
        "SDR",
        "11",
        "DN",
        "150",
        "d180",
        "x",
        "16,4",
        "PE100",
        '"',
        "-",
        "/",
        "1",
        "CTS",
        "mm",
        "OD",
        "steel",
        "SCH",
        "40",
        "S",
        "5",
        "½",
        "NPS",
        "PN",
        "(",
        ")",
        "3/4",
        "1-1/4",
        "1e9",
        "٣",
        "²",
    ]
)
SIZES = st.builds(
    "{}{}{}".format,
    st.sampled_from(["", "d", "DN ", "OD", "PE100 "]),
    st.sampled_from(["110", "63", "8", "16,4", "1-1/4", "٣", "9999"]),
    st.sampled_from(["", " mm", " SDR 11", " SDR17,6", " in IPS", '"', " x 6.3", " CTS"]),
)
"""Texts that are nearly sizes, or are."""
HOSTILE = st.sampled_from(
    [
        *("__import__('os').system('x')", "{0.__class__}", "${HOME}", "=1+1", "'; drop table mains; --"),
        *("../../x", "\x00", "\x7f", "\u202e", "a" * 300, "", " ", "%3A", ":", ";", "\n"),
        *("nan", "inf", "1e400", "?"),
    ]
)
TEXT = HOSTILE | st.text(max_size=30)
SCALAR: Any = (
    TEXT | st.booleans() | st.integers() | st.floats() | st.sampled_from(["mm", "psi", "PE100", "id", "in"])
)
KEYS = st.sampled_from(
    [
        "from",
        "constant",
        "unit",
        "values",
        "default",
        "prefix",
        "source",
        "where",
        "columns",
        "size",
        "is",
        "column",
        "height",
        "crs",
        "id",
        "od_mm",
        "material",
        "split",
        "replace",
        "empty",
        "plain",
        "join",
    ]
)
TREE: Any = st.recursive(
    SCALAR,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS | TEXT, inner, max_size=4),
    max_leaves=12,
)
"""Anything that TOML can hold."""


def _toml(value: Any) -> str:
    """Write a value as TOML, inline."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return "nan" if math.isnan(value) else str(value)
    if isinstance(value, list):
        return f"[{', '.join(_toml(item) for item in value)}]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_toml(str(key))} = {_toml(item)}" for key, item in value.items()) + "}"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


class _Source:
    """A source of one table of pipes and one of points, in memory."""

    def __init__(self, words: list[str]) -> None:
        self._words = words

    @property
    def name(self) -> str:
        return "memory"

    def layer_names(self) -> tuple[str, ...]:
        return ("pipe", "point")

    def fields(self, layer: str) -> tuple[Field, ...]:  # noqa: ARG002
        return (Field("id", "text"), Field("word", "text"), Field("od_mm", "number"), Field("flag", "flag"))

    def read(self, layer: str, columns: Any, *, within: Any = None) -> RawLayer:  # noqa: ARG002
        n = len(self._words)
        table = pa.table(
            {
                "id": pa.array(self._words, pa.string()),
                "word": pa.array([word or None for word in self._words[::-1]], pa.string()),
                "od_mm": pa.array([float(at) if at % 3 else None for at in range(n)], pa.float64()),
                "flag": pa.array([at % 2 == 0 for at in range(n)], pa.bool_()),
            }
        )
        ends = 2 if layer == "pipe" else 1
        coords = [[600000.0 + at, 5800000.0 + 9 * end] for at in range(n) for end in range(ends)]
        shapes = FlatShapes(
            LINE if layer == "pipe" else POINT,
            pa.array([x for xy in coords for x in xy], pa.float64()).to_numpy().reshape(-1, 2),
            pa.array(range(0, ends * n + 1, ends), pa.int64()).to_numpy(),
        )
        return RawLayer(layer, table.select(list(columns)), shapes, CRS.from_epsg(25832))


RULES: Any = st.one_of(
    st.sampled_from(["id", "word", "od_mm", "flag", "?", "zzz"]),
    st.fixed_dictionaries(
        {"from": st.sampled_from(["id", "word", "od_mm", "flag", ["id", "word"]])},
        optional={
            "values": st.dictionaries(TEXT, st.sampled_from(["PE100", "steel", "?", 7, "x"]), max_size=3),
            "unlisted": st.sampled_from(["keep", "report", "empty"]),
            "default": st.sampled_from(["PE80", "x", 5, ""]),
            "unit": st.sampled_from(["in", "psi", "?", "mm", "zz"]),
            "prefix": TEXT,
            "drop_prefix": TEXT,
            "replace": st.dictionaries(TEXT, TEXT, max_size=2),
            "split": st.sampled_from([";", ",", "ab"]),
            "empty": st.lists(SCALAR, min_size=1, max_size=2),
            "decimal": st.sampled_from([".", ","]),
        },
    ),
)


@st.composite
def mappings(draw: Any) -> dict[str, Any]:
    """Draw mappings that are nearly right."""
    layer = draw(st.sampled_from(["mains", "services", "customers", "valves", "keep_out"]))
    names = [column.name for column in layer_specs()[layer].columns]
    feed: dict[str, Any] = {
        "source": draw(st.sampled_from(["pipe", "point", "PIPE", "?", "zzz"])),
        "columns": draw(st.dictionaries(st.sampled_from(names), RULES, max_size=5)),
    }
    if draw(st.booleans()):
        test = draw(st.sampled_from(["is", "is_not"]))
        feed["where"] = [
            {"column": draw(st.sampled_from(["word", "flag"])), test: draw(st.lists(SCALAR, max_size=2))}
        ]
    if draw(st.booleans()):
        feed["size"] = draw(st.sampled_from(["word", "id", {"from": ["id", "word"], "plain": "od_mm"}]))
    feed["height"] = draw(st.sampled_from(["m", "ft", "none"]))
    return {layer: [feed]}


def _mapping_text(mapping: dict[str, Any]) -> str:
    return "\n".join(f"{layer} = {_toml(feeds)}" for layer, feeds in mapping.items())


def _one_line(error: Exception) -> None:
    seen("refused")
    assert str(error)
    assert "\n" not in str(error)


@at_least(read=5, refused=50)
@HUNT
@given(
    TEXT | st.lists(SIZE_WORDS, max_size=8).map(" ".join) | SIZES,
    st.sampled_from(["", "pe", "steel", "iron"]),
)
@example("9" * 60, "")
@example("1/0 in", "steel")
def test_a_size_is_read_or_refused(text: str, stuff: Any) -> None:
    for plain in ("", "od_mm", "dn", "inch"):
        try:
            size = read_size(text, stuff, plain)
        except ValueError as error:
            _one_line(error)
            continue
        figures = [size.od_mm, *(x for x in (size.sdr, size.wall_mm, size.bore_mm) if x is not None)]
        seen("read")
        assert all(math.isfinite(figure) for figure in figures)
        assert 10 <= size.od_mm <= 2500


@at_least(read=2, refused=10)
@HUNT
@given(
    TEXT
    | TREE.map(lambda tree: f"mains = {_toml(tree)}")
    | st.dictionaries(KEYS, TREE).map(
        lambda tree: "\n".join(f"{key} = {_toml(value)}" for key, value in tree.items())
    )
    | mappings().map(_mapping_text)
)
@example("[[mains]]\nsource = 'x'\n" + "a." * 2000 + "b = 1")
@example("mains = " + "[" * 3000)
def test_a_mapping_is_read_or_refused(text: str) -> None:
    try:
        mapping = parse_mapping(text)
    except BadInputError as error:
        _one_line(error)
        return
    seen("read")
    assert isinstance(mapping, Mapping)


@at_least(applied=5, refused=10)
@HUNT
@given(mappings(), st.lists(TEXT | SIZE_WORDS, max_size=6))
def test_a_mapping_is_applied_or_refused(mapping: dict[str, Any], words: list[str]) -> None:
    words = [word.encode("utf-8", "replace").decode() for word in words]
    try:
        raw = mapped_layers(_Source(words), parse_mapping(_mapping_text(mapping)))
    except NetplanError as error:
        _one_line(error)
        return
    seen("applied")
    assert set(raw.layers) <= set(mapping)
    for name, layer in raw.layers.items():
        known = {column.name for column in layer_specs()[name].columns}
        assert set(layer.columns.column_names) <= known
        assert not layer.columns.num_columns or len(layer.columns) == len(layer.geometry)


@HUNT
@given(st.lists(TEXT | SIZE_WORDS, min_size=1, max_size=8))
def test_a_draft_of_any_data_is_a_mapping(words: list[str]) -> None:
    source = _Source([word.encode("utf-8", "replace").decode() for word in words])
    draft = draft_mapping(source)
    raw = mapped_layers(source, parse_mapping(draft.text))
    assert set(raw.layers) <= set(layer_specs())


@HUNT
@given(st.lists(TEXT, unique=True, max_size=12))
def test_rewritten_ids_never_meet(words: list[str]) -> None:
    words = [word.encode("utf-8", "replace").decode() for word in words]
    rewritten = ids(pa.array(words, pa.string()), ColumnRule.model_validate({"from": "x"}), several=False)
    assert len(set(rewritten.to_pylist())) == len(set(words))
    assert not any(sign in text for text in rewritten.to_pylist() for sign in ":;\n\x00\x7f")


@at_least(read=5, refused=20)
@HUNT
@given(TEXT | TREE.map(lambda tree: f"pressure = {_toml(tree)}"), st.integers(0, 400), TEXT)
def test_rules_are_read_or_refused(tmp_path: Path, text: str, line: int, value: str) -> None:
    lines = default_rules_text().splitlines()
    at = line % len(lines)
    key, equals, _ = lines[at].partition("=")
    changed = [*lines[:at], f"{key}={_toml(value)}" if equals else value.replace("\n", " "), *lines[at + 1 :]]
    for number, content in enumerate((text, "\n".join(changed))):
        path = tmp_path / f"{number}.toml"
        path.write_text(content, encoding="utf-8", errors="replace")
        try:
            rules = read_rules(path)
        except BadRulesError as error:
            _one_line(error)
            continue
        seen("read")
        assert isinstance(rules, Rules)
