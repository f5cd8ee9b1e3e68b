"""Names of a package fetched from their modules at their first use, so that a start loads what it needs."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any

__all__ = ["names_on_first_use"]


def names_on_first_use(package: str, module_of: Mapping[str, str]) -> Callable[[str], Any]:
    """Return a package's ``__getattr__``: each name is fetched once, and kept in the package.

    Parameters
    ----------
    package : str
        The package's own name.
    module_of : mapping of str to str
        The module that each name comes from.
    """

    def fetch(name: str) -> Any:
        if name not in module_of:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        value = getattr(import_module(module_of[name]), name)
        setattr(sys.modules[package], name, value)
        return value

    return fetch
