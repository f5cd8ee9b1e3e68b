"""What the command sets at its start is set for tests too, before anything loads numpy or pydantic."""

from __future__ import annotations

import gc
import os

import pytest

os.environ.setdefault("NUMPY_MADVISE_HUGEPAGE", "0")
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")


def pytest_collection_finish(session: pytest.Session) -> None:
    """Leave what is loaded by now out of every search for garbage: a million small objects that stay."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(10_000, 10, 10)
