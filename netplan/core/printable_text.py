"""Text from data without what no paper and no page can show."""

from __future__ import annotations

import re
from typing import Final

__all__ = ["shown_signs"]

_NOT_SHOWN: Final = re.compile("[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069\ufffe\uffff]")
"""Control characters, and marks that turn the direction of text that is not theirs."""


def shown_signs(text: str) -> str:
    """Return a text without control characters and without marks that turn the direction of writing."""
    return _NOT_SHOWN.sub("", text)
