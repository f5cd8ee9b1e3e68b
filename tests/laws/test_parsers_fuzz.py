"""Whatever stands in a rules, forecast, words or plan file: one line, never another error."""

from __future__ import annotations

import json
import tempfile
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from netplan.core.errors import NetplanError
from netplan.demand import read_forecast
from netplan.planfile.plan_json import plan_from_json, read_plan
from netplan.rules import read_rules
from netplan.rules.read_rules import default_rules_text

QUICK = settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
LINES = default_rules_text().splitlines(keepends=True)

scalars = st.one_of(
    st.integers(),
    st.floats(),
    st.text(max_size=20),
    st.booleans(),
    st.sampled_from(
        ["4 in", "7 inH2O", "-1 psi", "1e400 mbar", "mbar", "nan", "12:99", "3 °C", "**", "9**9**9 m"]
    ),
)
values = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


def calmly(job: Callable[[], Any]) -> None:
    """Run a job that may only raise errors of our own, of one line."""
    said = "nothing"
    try:
        job()
    except NetplanError as error:
        said = str(error)
    assert said.strip()
    assert "\n" not in said


def in_file(name: str, data: bytes, read: Callable[[Path], Any]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(data)
        calmly(lambda: read(path))


@QUICK
@given(st.data())
def test_rules_with_any_value_anywhere(data: st.DataObject) -> None:
    tables = tomllib.loads(default_rules_text())
    table = data.draw(st.sampled_from(sorted(tables)))
    held = tables[table]
    if isinstance(held, dict):
        key = data.draw(st.sampled_from(sorted(held)) | st.text(max_size=10))
        overrides: dict[str, Any] = {table: {key: data.draw(values)}}
    else:
        overrides = {table: data.draw(values)}
    calmly(lambda: read_rules(None, overrides))


@QUICK
@given(st.lists(st.sampled_from(LINES) | st.text(max_size=30), max_size=30))
def test_rules_files_of_mixed_lines(lines: list[str]) -> None:
    text = "".join(lines).encode("utf-8", errors="surrogatepass")
    in_file("rules.toml", text, read_rules)


@QUICK
@given(st.binary(max_size=200))
def test_files_of_any_bytes(data: bytes) -> None:
    in_file("rules.toml", data, read_rules)
    in_file("forecast.csv", data, read_forecast)
    in_file("plan.json", data, lambda path: read_plan(path.parent))


@QUICK
@given(st.lists(st.tuples(st.text(max_size=18), st.text(max_size=8)), max_size=6))
def test_forecasts_of_any_cells(rows: list[tuple[str, str]]) -> None:
    text = "time,air_temp_c\n" + "\n".join(",".join(row) for row in rows)
    in_file("forecast.csv", text.encode("utf-8", errors="surrogatepass"), read_forecast)


@QUICK
@given(
    st.dictionaries(st.sampled_from(["schema", "options", "work", "caution"]) | st.text(max_size=5), values)
)
def test_plans_of_any_json(data: dict[str, Any]) -> None:
    calmly(lambda: plan_from_json(json.dumps({"schema": "netplan/plan/1", **data}), "plan.json"))


@pytest.mark.parametrize("depth", [100, 5_000, 200_000])
def test_deep_nesting(depth: int) -> None:
    deep = "[" * depth + "]" * depth
    in_file("rules.toml", f"[gas]\nname = {deep}".encode(), read_rules)
    in_file("plan.json", deep.encode(), lambda path: read_plan(path.parent))
    in_file("rules.toml", ("a." * depth + "b = 1").encode(), read_rules)


@pytest.mark.parametrize("read", [read_rules, read_forecast, lambda path: read_plan(path.parent)])
def test_a_file_far_too_large_is_not_even_read(tmp_path: Path, read: Callable[[Path], Any]) -> None:
    path = tmp_path / "plan.json"
    with path.open("wb") as file:
        file.truncate(2_500_000_000)
    with pytest.raises(NetplanError, match="larger than"):
        read(path)
