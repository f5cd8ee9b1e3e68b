"""Count the assertions that each test passes; a test that passes none, though it has some, fails.

    pytest -p tests.counted_asserts -o enable_assertion_pass_hook=true tests/laws tests/outside tests/own

Behind a command of its own: to keep every passed assertion in words takes longer than the tests do. The last line
says how many tests asserted, and how often.
"""

from __future__ import annotations

import ast
import inspect
import textwrap
from collections import Counter
from collections.abc import Generator
from typing import Any

import pytest

_passed: Counter[str] = Counter()
_current = ""


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Generator[None, Any, Any]:
    """Run a test; fail it where it has assertions and came by none of them."""
    global _current
    _current = item.nodeid
    result = yield
    function = getattr(item, "function", None)
    if not _passed[item.nodeid] and function is not None and _asserts(function):
        pytest.fail("it passed without a single assertion: its cases say nothing")
    return result


def pytest_assertion_pass(item: pytest.Item, lineno: int, orig: str, expl: str) -> None:
    """Count an assertion that holds."""
    _passed[_current or item.nodeid] += 1


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Print the count."""
    asserting = [count for count in _passed.values() if count]
    terminalreporter.write_line(f"{len(asserting)} tests asserted, {sum(asserting)} times")


def _asserts(function: Any) -> bool:
    function = getattr(getattr(function, "hypothesis", None), "inner_test", function)
    tree = ast.parse(textwrap.dedent(inspect.getsource(inspect.unwrap(function))))
    return any(isinstance(node, ast.Assert) for node in ast.walk(tree))
