"""Packages that only an extra of this one installs: asked for before they are imported."""

from __future__ import annotations

from importlib.util import find_spec
from typing import Final

from netplan.core.errors import BadInputError

__all__ = ["EXTRAS", "MissingExtraError", "has_extra", "require_extra"]

EXTRAS: Final = {
    "charts": ("matplotlib",),
    "cluster": ("dask", "distributed"),
    "compiled": ("numba",),
    "database": ("psycopg",),
    "graph": ("networkx",),
    "page": ("starlette", "uvicorn"),
}
"""Packages that are imported of each extra; `pyproject.toml` says with which versions."""


class MissingExtraError(BadInputError):
    """Something was asked for whose packages are not installed (exit code 2)."""


def has_extra(extra: str) -> bool:
    """Whether all packages of an extra are installed; none is imported.

    Parameters
    ----------
    extra : str
        A key of `EXTRAS`.
    """
    return all(find_spec(package) is not None for package in EXTRAS[extra])


def require_extra(extra: str, purpose: str) -> None:
    """Refuse what needs an extra where it is not installed.

    Parameters
    ----------
    extra : str
        A key of `EXTRAS`.
    purpose : str
        What needs it, as the beginning of a sentence.

    Raises
    ------
    MissingExtraError
        With the command that installs it.
    """
    if not has_extra(extra):
        packages = " and ".join(EXTRAS[extra])
        raise MissingExtraError(
            f"{purpose} needs {packages}, not installed here; "
            f'install the extra {extra}: pip install "gas-netplan[{extra}]"'
        )
