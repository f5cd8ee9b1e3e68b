"""No test may pass because a loop had no turn: each asserts something outside loops, a count at least (own)."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.counted_asserts import main, standing
from tests.support.assertion_sites import ROOT, Sources, TestFunction
from tests.support.shares import at_least, seen

FOLDERS = ("laws", "outside", "own")


def _written(folder: Path, text: str, **helpers: str) -> list[TestFunction]:
    """Return the tests of a made-up file, with made-up helpers beside it."""
    for name, content in {"test_made_up": text, **helpers}.items():
        path = folder / "tests" / f"{name}.py"
        path.parent.mkdir(exist_ok=True)
        path.write_text(content, encoding="utf-8")
    return list(Sources(folder).tests(folder / "tests" / "test_made_up.py"))


def test_no_test_holds_all_its_assertions_in_a_loop_that_may_have_no_turn() -> None:
    sources = Sources()
    found = {
        folder: [
            test
            for file in sorted((ROOT / "tests" / folder).rglob("test_*.py"))
            for test in sources.tests(file)
        ]
        for folder in FOLDERS
    }
    assert all(len(found[folder]) > 100 for folder in FOLDERS)
    silent = [
        f"{test.file}:{test.line} {test.name}: assert first how many there are"
        for folder in FOLDERS
        for test in found[folder]
        if test.may_say_nothing
    ]
    assert silent == []


@pytest.mark.parametrize(
    "body",
    [
        "for row in rows():\n        assert row",
        "assert all(row > 0 for row in rows())",
        "assert not [row for row in rows() if row < 0]",
        "assert not any(row < 0 for row in rows())",
        "assert [row for row in rows() if row < 0] == []",
        "assert {row for row in rows()} <= {1, 2}",
        "for row in (1, 2):\n        for inner in rows(row):\n            assert inner",
        "for row in (1, 2):\n        if row in rows():\n            continue\n        assert row",
        "if rows():\n        assert rows() == [1]",
        "if not rows():\n        return\n    assert rows() == [1]",
        "for row in rows():\n        check(row)",
        "for row in rows():\n        imported(row)",
        "for row in given.options:\n        assert row",
        "while rows():\n        assert rows()",
        "def inner():\n        assert rows()\n    for row in rows():\n        inner()",
        "looped()",
    ],
)
def test_a_made_up_test_that_may_say_nothing_is_caught(tmp_path: Path, body: str) -> None:
    text = "from tests.made_up import imported\n\ndef check(row):\n    assert row\n\n"
    text += "def looped():\n    for row in rows():\n        assert row\n\n"
    (test,) = _written(
        tmp_path, f"{text}def test_bad(given):\n    {body}\n", made_up="def imported(row):\n    assert row\n"
    )
    assert test.name == "test_bad"
    assert test.may_say_nothing


@pytest.mark.parametrize(
    "body",
    [
        "assert rows()",
        "for row in (1, 2):\n        assert row in rows()",
        "for row in ROWS.items():\n        assert row",
        "for row in range(3):\n        assert row in rows()",
        "for row, more in zip(names, sorted(ROWS)):\n        assert row in more",
        "found = rows()\n    assert len(found) == 3\n    for row in found:\n        assert row",
        "found = rows()\n    assume(found)\n    for row in found:\n        assert row",
        "for row in rows():\n        assert row\n    assert count == 3",
        "if rows():\n        assert rows() == [1]\n    else:\n        assert other()",
        "if not rows():\n        assert other()\n        return\n    assert rows() == [1]",
        "for row in some():\n        assert row",
        "for row in drawn:\n        assert row",
        "check(rows())",
        "imported(rows())",
        "with pytest.raises(ValueError):\n        rows()",
        "np.testing.assert_allclose(rows(), 3)",
        "assert all(row in rows() for row in ROWS)",
    ],
)
def test_a_made_up_test_that_asserts_for_certain_is_let_pass(tmp_path: Path, body: str) -> None:
    text = "from tests.made_up import imported\n\ndef check(row):\n    assert row\n\n"
    text += "def some():\n    found = rows()\n    assert found\n    return found\n\n"
    text += "@pytest.fixture\ndef drawn():\n    found = rows()\n    assume(found)\n    return found\n\n"
    text += '@pytest.mark.parametrize("names", [("a", "b")])\n'
    (test,) = _written(
        tmp_path,
        f"{text}def test_good(names, drawn):\n    {body}\n",
        made_up="def imported(row):\n    assert row\n",
    )
    assert test.certain > 0
    assert not test.may_say_nothing


def test_a_counted_share_counts_as_an_assertion(tmp_path: Path) -> None:
    body = "@given(CASES)\ndef test_drawn(case):\n    if solved(case):\n        assert case\n"
    (without,) = _written(tmp_path, body)
    assert without.may_say_nothing
    (counted,) = _written(tmp_path, f"@at_least(solved=3)\n{body}")
    assert not counted.may_say_nothing


def test_too_few_cases_of_a_kind_fail() -> None:
    @settings(max_examples=20, database=None)
    @given(st.integers(0, 9))
    def draw(number: int) -> None:
        seen("small" if number < 10 else "great")

    at_least(small=1)(draw)()
    with pytest.raises(AssertionError, match="only 0 cases were great"):
        at_least(small=1, great=1)(draw)()


def test_what_stands_in_two_trees_is_compared(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bodies = {
        "old": "def test_a():\n    assert 1\n    assert 2\n\n\ndef test_b():\n    with pytest.raises(E):\n        f()\n",
        "new": "def test_a():\n    assert 1\n",
    }
    for name, text in bodies.items():
        file = tmp_path / name / "tests" / "own" / "test_some.py"
        file.parent.mkdir(parents=True)
        file.write_text(text + "\n\ndef _helper():\n    assert 3\n", encoding="utf-8")
    assert standing(tmp_path / "old")["own"] == {"test_a": 2, "test_b": 1, "": 1}
    assert main([str(tmp_path / "old"), str(tmp_path / "new")]) == 1
    lines = Counter(line.split(":")[0] for line in capsys.readouterr().out.splitlines())
    assert lines["gone"] == lines["fewer"] == 1
    assert main([str(tmp_path / "old"), str(tmp_path / "old")]) == 0
