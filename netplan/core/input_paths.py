"""Paths that a person gives: refused before what reads them is loaded, which takes a second or two."""

from __future__ import annotations

import errno
import os
from pathlib import Path
from typing import Final

from netplan.core.errors import BadInputError, quoted

__all__ = ["check_plan_folder", "check_polygon_file", "check_text_file", "is_database_url", "network_path"]

_SCHEMES: Final = ("postgresql", "postgres")


def is_database_url(text: str) -> bool:
    """Whether a text is meant as the URL of a database."""
    return text.split(":", 1)[0].lower() in _SCHEMES and "://" in text


def network_path(text: str | Path) -> Path | None:
    """Return the file or folder that a text names; None where it is the URL of a database.

    Raises
    ------
    BadInputError
        When nothing is there, or it is no path.
    """
    if isinstance(text, str) and is_database_url(text):
        return None
    path = Path(text)
    try:
        if path.is_dir() or path.is_file():
            return path
    except OSError as error:
        raise BadInputError(f"{path}: cannot be read ({error.strerror or error}); check the file") from error
    except ValueError as error:  # a null character in the path
        raise BadInputError(f"{quoted(str(text))} is no path; give a GeoPackage or a folder") from error
    raise BadInputError(f"{path}: no such file or folder; give a GeoPackage or a folder of layers")


def check_polygon_file(path: Path) -> None:
    """Refuse a path of polygons that is no file.

    Raises
    ------
    BadInputError
    """
    if not path.is_file():
        raise BadInputError(f"{path}: is no file; give one with polygons, such as a GeoJSON")


def check_text_file(path: Path) -> None:
    """Refuse a text file that cannot be opened.

    Raises
    ------
    BadInputError
    """
    try:
        _look_for(path)
    except OSError as error:
        raise BadInputError(f"{path}: cannot be read ({error.strerror or error}); check the path") from None


def check_plan_folder(folder: Path) -> None:
    """Refuse a plan folder whose plan.json cannot be opened.

    Raises
    ------
    BadInputError
    """
    path = folder / "plan.json"
    try:
        _look_for(path)
    except OSError as error:
        raise BadInputError(f"{path}: cannot be read ({error.strerror}); give a plan folder") from None


def _look_for(path: Path) -> None:
    """Find out whether a file can be read, without opening it: a pipe would be used up."""
    if path.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    path.stat()
    if not os.access(path, os.R_OK):
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
