"""Setting a template with data: texts go in as data, so nothing in them is ever markup."""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Iterator
from importlib import resources
from typing import Any, Final

from netplan.core.errors import BadInputError
from netplan.core.printable_text import shown_signs

__all__ = ["missing_signs", "printable", "typeset"]

_UNBROKEN: Final = re.compile(r"\S{33,}")
_PIECE: Final = re.compile(r".{24}(?=.)")
_BREAK: Final = "\u200b"
_LAST_LATIN: Final = 0x17F
_PUNCTUATION: Final = frozenset("‐‑‒–—‘’‚“”„•…€\u200b")
"""Signs up to the first and these are in Libertinus Serif, which comes with the typesetter."""
_NO_GLYPH: Final = ("Cc", "Cf", "Cs", "Zs", "Zl", "Zp")
_NOT_SHOWN: Final = re.compile(r'the text `?"(.*?)"`? could not be displayed', re.DOTALL)
_ESCAPED: Final = re.compile(r"\\u\{([0-9a-f]{1,6})\}")
_MOST_SIGNS: Final = 5


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


def missing_signs(value: Any) -> str:
    """Return which signs of some data no font at hand has, a few of them by name; empty for none.

    Such signs are set as empty boxes, and nothing says so. Standards for archiving forbid that: set by such a
    standard, a paper with the signs is refused with their names.

    Parameters
    ----------
    value : any
        JSON data; the texts in it are looked at.
    """
    signs = sorted({sign for text in _texts(printable(value)) for sign in text if _is_uncommon(sign)})
    if not signs:
        return ""
    import typst  # most letters have no sign that needs looking up

    folder = resources.files("netplan.outputs").joinpath("templates")
    with resources.as_file(folder) as root:
        data = {"data": json.dumps({"signs": signs}, ensure_ascii=False)}
        try:
            typst.compile(
                root / "signs.typ", root=root, format="pdf", sys_inputs=data, pdf_standards=["a-2b"]
            )
        except typst.TypstError as error:
            said = "\n".join(str(part) for part in (error, *vars(error).values()))
            told = _ESCAPED.sub(lambda code: chr(int(code[1], 16)), " ".join(_NOT_SHOWN.findall(said)))
            missing = [sign for sign in signs if sign in told]
            named = ", ".join(f"{sign} (U+{ord(sign):04X})" for sign in missing[:_MOST_SIGNS])
            more = len(missing) - _MOST_SIGNS
            return f"{named} and {more} more" if more > 0 else named
    return ""


def _is_uncommon(sign: str) -> bool:
    """Return whether the font that comes with us may lack a sign."""
    if ord(sign) <= _LAST_LATIN or sign in _PUNCTUATION:
        return False
    return unicodedata.category(sign) not in _NO_GLYPH


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from _texts(one)
    elif isinstance(value, list):
        for one in value:
            yield from _texts(one)
