"""Errors of our own are one line, whatever is in them."""

from __future__ import annotations

import pytest

from netplan.core.errors import BadInputError, BadNetworkError, NetplanError, NoPlanError, NotSolvedError


@pytest.mark.parametrize("kind", [NetplanError, BadInputError, BadNetworkError, NoPlanError, NotSolvedError])
def test_a_message_is_one_line(kind: type[NetplanError]) -> None:
    error = kind("mains M1\r\nx\ty\x85z\u2028end;  correct it")
    assert str(error) == "mains M1 x y z end;  correct it"
    assert len(str(error).splitlines()) == 1


def test_findings_and_reasons_stay_with_their_error() -> None:
    assert BadNetworkError("x", (1, 2)).findings == (1, 2)
    assert NoPlanError("x", ("a", "b")).reasons == ("a", "b")
    assert (BadInputError.exit_code, NoPlanError.exit_code) == (2, 3)
