"""Setting a template with data: texts go in as data, so nothing in them is ever markup."""

from __future__ import annotations

import json
import re
from importlib import resources
from typing import Any, Final

from netplan.core.errors import BadInputError
from netplan.core.printable_text import shown_signs

__all__ = ["printable", "typeset"]

_UNBROKEN: Final = re.compile(r"\S{33,}")
_PIECE: Final = re.compile(r".{24}(?=.)")
_BREAK: Final = "\u200b"


def printable(value: Any) -> Any:
    """Return data whose texts can be set: no control characters, and long runs may break across lines."""
    if isinstance(value, str):
        text = shown_signs(value)
        return _UNBROKEN.sub(
            lambda run: _PIECE.sub(lambda piece: piece.group(0) + _BREAK, run.group(0)), text
        )
    if isinstance(value, dict):
        return {key: printable(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [printable(item) for item in value]
    return value


def typeset(template: str, data: dict[str, Any], pictures: dict[str, str] | None = None) -> bytes:
    """Return a PDF made from one of our templates.

    Parameters
    ----------
    template : str
        File name in ``netplan/outputs/templates``.
    data : dict
        JSON data; the template reads it, it is never part of the template.
    pictures : dict of str to str, optional
        SVG drawings by name, set as they are.

    Returns
    -------
    bytes
        The same data give the same bytes: no time of making is written.

    Raises
    ------
    BadInputError
        When the data holds what no paper can, such as control characters in a plan from elsewhere.
    """
    import typst  # many plans set no papers

    everything = {**printable(data), "pictures": pictures or {}}
    text = json.dumps(everything, ensure_ascii=False, allow_nan=False)
    folder = resources.files("netplan.outputs").joinpath("templates")
    with resources.as_file(folder) as root:
        try:
            result = typst.compile(root / template, root=root, format="pdf", sys_inputs={"data": text})
        except typst.TypstError as error:
            reason = " ".join(str(error).split())[:160]
            raise BadInputError(
                f"{template}: cannot be set ({reason}); plan again from mended data"
            ) from None
    return bytes(result)
