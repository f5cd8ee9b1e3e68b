"""Plans side by side: what is shown, what differs, and what is refused (own)."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from netplan.cli import main
from netplan.core.errors import BadInputError
from netplan.outputs.number_format import US
from netplan.outputs.terminal.plan_comparison import compare_plans, differences, print_comparison
from netplan.planfile.model import Plan
from netplan.planfile.plan_json import plan_from_json, plan_to_json
from tests.support.plans import hamlet_result


@pytest.fixture(scope="module")
def plan() -> Plan:
    return hamlet_result().plan


def altered(plan: Plan, **changes: Any) -> Plan:
    """Return the plan with values set at dotted keys."""
    data = json.loads(plan_to_json(plan))
    for key, value in changes.items():
        *path, last = key.split("__")
        place = data
        for name in path:
            place = place[int(name)] if isinstance(place, list) else place[name]
        place[int(last) if isinstance(place, list) else last] = value
    return plan_from_json(json.dumps(data), "altered")


def shown(plans: list[tuple[str, Plan]], **options: Any) -> str:
    """Return what is printed."""
    text = io.StringIO()
    print_comparison(plans, Console(file=text, width=200), **options)
    return text.getvalue()


def test_rows_count_what_the_option_holds(plan: Plan) -> None:
    rows = compare_plans([("a", plan), ("b", plan)])
    option = plan.options[0]
    for row in rows:
        assert row.stops == len(option.stops) > 0
        off = [customer for customer in option.customers if customer.effect == "off"]
        assert sum(row.meters_off.values()) == sum(customer.meters for customer in off) > 0
        assert list(row.meters_off) == ["household", "business", "industry", "public"]
        assert row.burden == option.burden
        assert row.gas_m3 == option.vent.total_m3
        assert row.least_mbar == option.pressures.after.least_mbar
    assert differences([plan, plan]) == ()
    text = shown([("a", plan), ("b", plan)])
    assert "the same in all" in text
    assert plan.caution[:20] in text


def test_what_differs_is_named_and_nothing_else(plan: Plan) -> None:
    method = plan.rules["method"][0]
    other = altered(
        plan,
        conditions__air_temp_c=4.5,
        conditions__orders=["at most 3 stops", "no bypass, hose or opened valve"],
        rules__pressure__margin_mbar=3.25,
        rules__method=[{**method, "price": 123.0}, *plan.rules["method"][1:]],
    )
    apart = {row.key: row.values for row in differences([plan, other])}
    assert set(apart) == {
        *("air_temp_c", "orders", "pressure.margin_mbar", f"method[{method['name']}].price")
    }
    assert apart["air_temp_c"][1] == "4.5"
    assert apart["orders"] == ("–", "at most 3 stops; no bypass, hose or opened valve")
    assert apart[f"method[{method['name']}].price"][1] == "123"


def test_method_left_out_is_told_and_shifts_nothing(plan: Plan) -> None:
    gone = plan.rules["method"][0]["name"]
    fewer = altered(plan, rules__method=plan.rules["method"][1:])
    apart = differences([plan, fewer])
    assert apart
    assert all(row.key.startswith(f"method[{gone}]") and row.values[1] == "not there" for row in apart)


def test_other_network_data_is_told(plan: Plan) -> None:
    other = altered(plan, network__content_sha256="f" * 64)
    assert [row.key for row in differences([plan, other])] == ["network data"]


def test_text_of_the_data_is_no_markup(plan: Plan) -> None:
    other = altered(plan, conditions__orders=["customer [red]C1[/red] stays on"])
    assert "[red]C1[/red]" in shown([("[bold]a[/bold]", plan), ("b", other)])
    assert "[bold]a[/bold]" in shown([("[bold]a[/bold]", plan), ("b", other)])


def test_not_proven_is_marked(plan: Plan) -> None:
    other = altered(plan, options__0__proof__optimal=False)
    assert "not proven" in shown([("a", plan), ("b", other)])
    assert "in. w.c." in shown([("a", plan), ("b", other)], units=US)


def test_other_work_is_refused_in_one_line(plan: Plan) -> None:
    other = altered(plan, work__0__to_m=plan.work[0].to_m + 1.0)
    with pytest.raises(BadInputError, match="give plans of the same work") as caught:
        compare_plans([("a", plan), ("b", other)])
    assert "\n" not in str(caught.value)
    with pytest.raises(BadInputError, match="two or more"):
        compare_plans([("a", plan)])
    with pytest.raises(BadInputError, match="no option"):
        compare_plans([("a", plan), ("b", altered(plan, options=[]))])


def test_command(
    plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def compare(*arguments: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["gas-netplan", "compare", *map(str, arguments)])
        with pytest.raises(SystemExit) as left:
            main()
        out, err = capsys.readouterr()
        return int(left.value.code or 0), out, err

    other = altered(plan, work__0__to_m=plan.work[0].to_m + 1.0)
    for name, some in (("a", plan), ("b", plan), ("other", other)):
        (tmp_path / name).mkdir()
        (tmp_path / name / "plan.json").write_text(plan_to_json(some), encoding="utf-8")
    code, out, _ = compare(tmp_path / "a", tmp_path / "b")
    assert code == 0
    assert "Conditions, rules and orders are the same in all." in out
    code, out, err = compare(tmp_path / "a", tmp_path / "other")
    assert (code, out, len(err.splitlines())) == (2, "", 1)
    code, _, err = compare(tmp_path / "a", tmp_path / "missing")
    assert (code, len(err.splitlines())) == (2, 1)
