"""Figures explained from the folder alone: the printed arithmetic, done again here, gives what the plan states."""

from __future__ import annotations

import json
import math
import re
import sys
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from netplan.cli import main
from netplan.core.errors import BadInputError
from netplan.explain import Formula, explain, figures_to_explain
from netplan.outputs.layers import read_plan_layers
from netplan.outputs.terminal.explanation_text import explanation_lines
from netplan.planfile import SolvedState, read_state
from netplan.planfile.plan_json import read_plan
from tests.support.sample_plan import sample_plan

NUMBER = r"−?\d+(?:\.\d+)?(?:e−?\d+)?"


def _number(text: str) -> float:
    return float(text.replace("−", "-"))


def _calculate(text: str) -> float:
    """Work out a printed line as a person with a calculator would."""
    plain = text.replace("−", "-").replace("×", "*").replace("√", "sqrt")
    for sign, power in (("²", 2), ("³", 3), ("⁴", 4), ("⁵", 5)):
        plain = plain.replace(sign, f"**{power}")
    assert re.fullmatch(r"[\d\s.+*/()e,a-z-]+", plain.replace("log10", "")), plain
    names = {"sqrt": math.sqrt, "exp": math.exp, "log10": math.log10, "max": max, "__builtins__": {}}
    return float(eval(plain, names))  # noqa: S307 - the line above lets arithmetic through alone


RELIGHT = ("service purged before relighting", "relight")


def _stated(plan: dict[str, Any], figure: str, rank: int) -> float:
    """Look the figure up in plan.json by hand."""
    option = plan["options"][rank - 1]
    kind, _, ident = figure.partition(":")
    of = {row["id"]: row for key in ("stops", "bypasses", "customers") for row in option[key]}.get(ident, {})
    value = {
        "burden": lambda: option["burden"],
        "gas": lambda: option["vent"]["total_m3"],
        "co2e": lambda: option["vent"]["co2e_kg"],
        "purge-velocity": lambda: option["purge"]["least_velocity_m_s"],
        "relighting": lambda: sum(s["minutes"] for s in option["steps"] if s["stage"] in RELIGHT),
        "gas-back": lambda: option["timeline"]["gas_back_min"],
        "off-from": lambda: option["timeline"]["off_from_min"],
        "on-by": lambda: option["timeline"]["relit_min"],
        "latest-cut": lambda: option["timeline"]["latest_cut_min"],
        "pressure": lambda: of["pressure_mbar"],
        "flow": lambda: of["flow_m3h"],
        "drop": lambda: of["drop_mbar"],
        "velocity": lambda: of["velocity_m_s"],
    }[kind]()
    return float(value)


@cache
def _folder() -> tuple[Any, dict[str, Any], dict[str, Any]]:
    folder = sample_plan()
    raw = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    return read_plan(folder), read_plan_layers(folder), raw


@cache
def _state(rank: int = 1) -> SolvedState:
    return read_state(_folder()[1], rank)


def _every() -> list[tuple[str, int]]:
    plan, _, _ = _folder()
    found = [(row.name, option.rank) for option in plan.options for row in figures_to_explain(option)]
    kept = next(c.id for c in plan.options[0].customers if c.effect == "kept")
    return [*found, (f"pressure:{kept}", 1)]


def test_every_figure_of_every_option_comes_out_as_the_plan_states_it() -> None:
    plan, _, raw = _folder()
    seen = set()
    for figure, rank in _every():
        found = explain(plan, _state(rank), figure)
        stated = _stated(raw, figure, rank)
        assert found.stated == pytest.approx(stated, abs=1e-9), (figure, rank)
        assert found.agrees, (figure, rank, found.result, stated)
        # What rounding of the plan and of its parts may take, never more than this:
        minutes = figure in ("gas-back", "off-from", "on-by", "latest-cut")
        limit = 0.25 if figure == "burden" or minutes else 0.06 if figure == "relighting" else 0.0051
        assert abs(found.result - stated) <= limit, (figure, rank)
        seen.add(figure.partition(":")[0])
    assert seen == {
        *("burden", "gas", "co2e", "purge-velocity", "relighting", "pressure", "flow", "drop", "velocity"),
        *("gas-back", "off-from", "on-by", "latest-cut"),
    }


def test_the_printed_arithmetic_done_again_gives_the_printed_values() -> None:
    plan, _, _ = _folder()
    worked = tables = 0
    for figure, rank in _every():
        lines = explanation_lines(explain(plan, _state(rank), figure))
        for i, line in enumerate(lines):
            value = re.match(rf"  = ({NUMBER})(?: |$)", line)
            if value and lines[i - 1].startswith("  = "):
                again = _calculate(lines[i - 1].removeprefix("  = "))
                assert again == pytest.approx(_number(value[1]), rel=2e-9, abs=1e-12), (figure, line)
                worked += 1
        tables += _tables_add_up(lines, figure)
        worked_out = re.match(rf"Result ({NUMBER}) ", next(x for x in lines if x.startswith("Result ")))
        assert worked_out
    assert worked > 30
    assert tables >= 3


def _tables_add_up(lines: list[str], figure: str) -> int:
    """Assert that every sum of a column is that of its rows; return how many there are."""
    sums = 0
    for i, line in enumerate(lines):
        total = re.match(rf"\w+ = sum of column (\w+) = ({NUMBER})", line)
        if not total:
            continue
        # The nearest table above that has such a column.
        head = next(
            k
            for k in range(i, -1, -1)
            if " | " in lines[k] and total[1] in [c.split("[")[0].strip() for c in lines[k].split(" | ")]
        )
        names = [cell.split("[")[0].strip() for cell in lines[head].split(" | ")]
        rows = []
        for row in lines[head + 1 : i]:
            if " | " not in row:
                break
            rows.append(row)
        assert rows, (figure, line)
        column = names.index(total[1])
        add = sum(_number(row.split(" | ")[column].strip()) for row in rows)
        assert add == pytest.approx(_number(total[2]), rel=1e-8, abs=1e-9), (figure, line)
        sums += 1
    return sums


def test_every_row_of_a_pressure_follows_from_the_row_before() -> None:
    plan, _, _ = _folder()
    found = explain(plan, _state(), "pressure:S2")
    lines = explanation_lines(found)
    head = next(k for k, line in enumerate(lines) if line.strip().startswith("way "))
    names = [cell.split("[")[0].strip() for cell in lines[head].split(" | ")]
    rows = []
    for line in lines[head + 1 :]:
        if " | " not in line:
            break
        rows.append(dict(zip(names, (cell.strip() for cell in line.split(" | ")), strict=True)))
    given = {
        m[1]: _number(m[2]) for line in lines if (m := re.match(rf"(\w+) = ({NUMBER}) ", line)) is not None
    }
    assert len(rows) > 10
    before, turbulent = None, 0
    for row in rows:
        n = {name: _number(text) for name, text in row.items() if name != "way"}
        mass = given["rho"] * n["Q"] / 3600
        reynolds = 4 * mass / (math.pi * n["d"] * given["mu"])
        assert n["Re"] == pytest.approx(reynolds, rel=1e-8)
        if reynolds >= 4000:
            root = 1 / math.sqrt(n["f"])
            right = -2 * math.log10(n["k"] / (3.7 * n["d"]) + 2.51 / (reynolds * math.sqrt(n["f"])))
            assert root == pytest.approx(right, rel=1e-7)
            turbulent += 1
        elif 0 < reynolds <= 2000:
            assert n["f"] == pytest.approx(64 / reynolds, rel=1e-7)
        lost = 16 / math.pi**2 * given["e"] * (n["f"] * n["L"] / n["d"] + n["K"]) * mass**2 / n["d"] ** 4
        lost *= 1 + given["g"] * n["dh"] / given["e"]
        after = math.sqrt(n["P"] ** 2 - lost) * math.exp(-given["g"] * n["dh"] / given["e"])
        assert n["P_next"] == pytest.approx(after, rel=1e-9)
        assert before is None or n["P"] == before
        before = n["P_next"]
    assert before == given["P_end"]
    assert turbulent > 5


def test_what_customers_draw_comes_out_as_the_layer_states_it() -> None:
    plan, layers, _ = _folder()
    rows = layers["customers"]
    rows = rows[(rows.option == 1) & (rows.demand_m3h > 0.0)]
    kinds = set()
    kept = rows[rows.effect == "kept"].head(1)
    for some in (kept, rows[rows.peak_kw.isna()].head(2), rows[rows.category == "industry"].head(2)):
        for ident, stated in zip(some.customer_id, some.demand_m3h, strict=True):
            found = explain(plan, _state(), f"demand:{ident}")
            assert found.agrees, (ident, found.result, stated)
            assert found.result == pytest.approx(stated, rel=2e-6)
            kinds.add(found.sources[0].partition(":")[0])
    assert len(kinds) == 2
    with pytest.raises(BadInputError, match="no such customer"):
        explain(plan, _state(), "demand:nobody")


def test_a_changed_plan_is_told(tmp_path: Path) -> None:
    plan, _, _ = _folder()
    stop = plan.options[0].stops[0]
    wrong = stop.model_copy(update={"pressure_mbar": stop.pressure_mbar + 0.01})
    option = plan.options[0].model_copy(update={"stops": (wrong, *plan.options[0].stops[1:])})
    found = explain(plan.model_copy(update={"options": (option,)}), _state(), f"pressure:{stop.id}")
    assert not found.agrees
    assert any("DIFFER" in line for line in explanation_lines(found))


def test_an_operators_own_rule_is_said_to_be_so() -> None:
    plan, _, _ = _folder()
    rules = json.loads(json.dumps(plan.rules, default=str))
    rules["crew"]["relights_per_hour"] = 10.0
    text = "\n".join(
        explanation_lines(explain(plan.model_copy(update={"rules": rules}), _state(), "relighting"))
    )
    assert "rule crew.relights_per_hour, the operator's own" in text
    shipped = "\n".join(explanation_lines(explain(plan, _state(), "relighting")))
    assert "rule crew.relights_per_hour as shipped: [1/h] example" in shipped


@pytest.mark.parametrize(
    ("text", "words", "value"),
    [
        ("a - (b - c)", "a − (b − c)", 2.0),
        ("a / (b * c)", "a / (b × c)", 0.5),
        ("(a + b) * c", "(a + b) × c", 5.0),
        ("(a + b)**2", "(a + b)²", 25.0),
        ("sqrt(a * b + max(c, 9))", "√(a × b + max(c, 9))", math.sqrt(15.0)),
    ],
)
def test_formulas_print_what_they_work_out(text: str, words: str, value: float) -> None:
    of = {"a": 3.0, "b": 2.0, "c": 1.0} if "/" not in text else {"a": 3.0, "b": 2.0, "c": 3.0}
    formula = Formula(text)
    assert formula.words() == words
    assert formula.value(of) == pytest.approx(value, rel=1e-9)
    assert _calculate(formula.numbers(of)) == pytest.approx(value, rel=1e-9)


def test_no_text_of_a_formula_runs_code() -> None:
    with pytest.raises((TypeError, KeyError)):
        Formula("__import__('os').getcwd()").value({})


def _run(monkeypatch: pytest.MonkeyPatch, *arguments: str | Path) -> int:
    monkeypatch.setattr(sys, "argv", ["gas-netplan", *(str(a) for a in arguments)])
    with pytest.raises(SystemExit) as left:
        main()
    return int(left.value.code or 0)


def test_the_command_lists_and_explains(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert _run(monkeypatch, "explain", sample_plan()) == 0
    listed = capsys.readouterr().out
    for name in ("burden", "gas", "pressure:S1", "flow:B1", "velocity:B1"):
        assert re.search(rf"^{name} ", listed, re.M), name
    assert _run(monkeypatch, "explain", sample_plan(), "velocity:B1") == 0
    assert "Result" in capsys.readouterr().out
    assert _run(monkeypatch, "explain", sample_plan(), "velocity:B9") == 2
    assert _run(monkeypatch, "explain", sample_plan(), "weight") == 2
    assert _run(monkeypatch, "explain", sample_plan(), "--option", "99") == 2
    assert "no such figure" in capsys.readouterr().err


@pytest.mark.parametrize("seed", [0, 1, 5, 9, 13, 26])
def test_feeds_of_every_kind_are_explained(seed: int) -> None:
    """Random towns: bypasses and hoses to stranded and weak parts; burdens of a few rounded elements."""
    from netplan.planfile.plan_json import plan_from_json, plan_to_json
    from netplan.planning.make_plan import make_plan
    from tests.support.feed_towns import town_request

    result = make_plan(town_request(seed))
    plan, state = plan_from_json(plan_to_json(result.plan), "town"), result.states[0]
    titles = []
    for figure in figures_to_explain(plan.options[0]):
        found = explain(plan, state, figure.name)
        assert found.agrees, (figure.name, found.result, found.stated)
        # A hundredth of the figure is far more than rounding may take of any of them.
        assert abs(found.result - found.stated) <= 0.01 * abs(found.stated)
        titles.append(found.title)
    assert len(titles) == (8 if seed == 13 else 11)
    if seed in (5, 26):
        assert any("balance at its far end" in title for title in titles)
