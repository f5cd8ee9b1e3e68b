"""Sizes as people write them: ``8 in IPS SDR 11``, ``DN 150``, ``d180``, ``180x16,4``, ``PE100 SDR17 d125``.

A text is taken apart into known words; a word that is not known makes it unreadable, because half a size is
worse than none. What a nominal size means depends on the material: see `netplan.reference.pipe_sizes`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Final, Literal, NoReturn

from netplan.core.constants import MM_PER_INCH
from netplan.core.errors import quoted
from netplan.reference.pipe_sizes import (
    PipeMaterial,
    SizeFamily,
    is_outside_diameter,
    nominal_size,
)

__all__ = ["BareNumber", "WrittenSize", "read_ratio", "read_size"]

BareNumber = Literal["", "od_mm", "dn", "inch"]
"""What a number without any word means."""

_LONGEST: Final = 80
_LEAST_BARE_MM: Final = 25.0
"""Bare numbers of PE from this up are outside diameters in millimetres, where the tables hold them [mm]."""

_OD_RANGE_MM: Final = (10.0, 2500.0)
_SDR_OF_SERIES: Final = {
    3.2: 7.4,
    4.0: 9.0,
    5.0: 11.0,
    6.3: 13.6,
    8.0: 17.0,
    8.3: 17.6,
    10.0: 21.0,
    12.5: 26.0,
}
"""Nominal SDR of the pipe series S of PE."""

_MATERIALS: Final[tuple[tuple[PipeMaterial, tuple[str, ...]], ...]] = (
    ("pe", ("pe", "hdpe", "mdpe", "pehd", "pemd", "pex")),
    ("steel", ("steel", "stahl", "acier", "staal", "st", "stl")),
    ("iron", ("iron", "guss", "gg", "ggg", "fonte", "gietijzer", "ci", "di")),
)
_MATERIAL_OF_WORD: Final = {word: material for material, words in _MATERIALS for word in words}
_NAMED: Final = (
    {"pe80": "PE80", "pe100": "PE100"}
    | dict.fromkeys(("steel", "stahl", "acier", "staal", "st", "stl"), "steel")
    | dict.fromkeys(("gg", "guss", "ci"), "cast_iron")
    | dict.fromkeys(("ggg", "di"), "ductile_iron")
)
"""Word of the input contract for what a text calls a material."""

_GRADES: Final = ("80", "100", "hd", "md", "rc", "xa")
_INCH: Final = ('"', "in", "inch", "inches", "zoll", "duim", "pouce", "pouces")
_OUTSIDE: Final = ("od", "d", "da", "de", "e")
_NOMINAL: Final = ("dn", "nw", "nb")
_INCH_FAMILY: Final = ("ips", "nps", "cts")
_FILLING: Final = ("-", "/", ",", ";", "(", ")", "_", ":", "=", ".", "cast", "ductile", "gas", "pipe", "main")
_TOKEN: Final = re.compile(r"\d+(?:\.\d+)?|[^\W\d_]+|\S")
_FRACTION: Final = re.compile(r"(?:(?<![\d.])(\d{1,2})[ -])?(?<![\d.])(\d{1,2})/(2|4|8|16)(?!\d)")
_SAME: Final = str.maketrans(
    {"″": '"', "”": '"', "“": '"', "×": "x", "*": "x", "ø": " d ", "⌀": " d ", "∅": " d "}
    | {"½": " 1/2", "¼": " 1/4", "¾": " 3/4"}
)


@dataclass(frozen=True, slots=True)
class WrittenSize:
    """A size read from a text; None where the text does not say.

    Parameters
    ----------
    od_mm : float
        Outside diameter [mm].
    sdr : float or None
        Standard dimension ratio [-].
    wall_mm : float or None
        Wall [mm].
    bore_mm : float or None
        Bore [mm]: the nominal size of steel or iron of which the text gives no wall, so no measured bore.
    source_key : str
        Key in `netplan.core.sources` of the table that gave the outside diameter; empty where the text gave
        it.
    material : str
        Material that the text names, as a word of the input contract; empty where it names none for certain.
    """

    od_mm: float
    sdr: float | None = None
    wall_mm: float | None = None
    bore_mm: float | None = None
    source_key: str = ""
    material: str = ""


def read_ratio(text: str) -> float:
    """Read a standard dimension ratio as people write it: ``SDR 17.6``, ``DR11``, ``S 5``, ``11`` [-].

    Raises
    ------
    ValueError
        When it is none, or says more than a ratio.
    """
    if len(text) > _LONGEST:
        raise ValueError("is too long for a ratio")
    return _Reading(_TOKEN.findall(_plain_letters(text)), "", "").ratio()


def read_size(text: str, material: PipeMaterial = "", plain: BareNumber = "") -> WrittenSize:
    """Read a size as people write it.

    Parameters
    ----------
    text : str
        The text, in any case; a comma between digits is a decimal point.
    material : str
        Material, where a column says it; else the words of the text count.
    plain : str
        What a bare number means: an outside diameter [mm], a DN or an inch size. Empty refuses it, except
        for PE where the metric tables hold the number: common practice, source key ``nominal_bore``.

    Raises
    ------
    ValueError
        When it cannot be read for certain; the message says why in a few words.
    """
    if len(text) > _LONGEST:
        raise ValueError("is too long for a size")
    size = _Reading(_TOKEN.findall(_plain_letters(text)), material, plain).size()
    if not _OD_RANGE_MM[0] <= size.od_mm <= _OD_RANGE_MM[1]:
        raise ValueError("is no size that a pipe can have")
    return size


def _plain_letters(text: str) -> str:
    lower = text.casefold().translate(_SAME).replace("''", '"')
    lower = re.sub(r"(?<=\d),(?=\d)", ".", lower)
    lower = re.sub(r"(?<=[\d\" ])x(?=[\d ])", " x ", lower)
    return _FRACTION.sub(lambda m: f"{int(m[1] or 0) + int(m[2]) / int(m[3]):g}", lower)


class _Reading:
    """One text on its way to a size: words are taken from the front, each says one thing."""

    def __init__(self, tokens: list[str], material: PipeMaterial, plain: BareNumber) -> None:
        self._tokens, self._at = tokens, 0
        self._pipe_material, self._plain = material, plain
        self._said: PipeMaterial = ""
        self._material_said = ""
        self._family: SizeFamily = "cts" if "cts" in tokens else "inch"
        self._in_inches = any(word in tokens for word in _INCH_FAMILY)
        self._sdr: float | None = None
        self._schedule = False
        self._number: tuple[str, float] | None = None
        self._wall: float | None = None

    def ratio(self) -> float:
        """Take all words and return the ratio, when they say that and no more."""
        self._all()
        if self._number is None and self._sdr is not None:
            return self._sdr
        if self._number is not None and self._number[0] == "plain" and len(self._tokens) == 1:
            return self._number[1]
        raise ValueError("names no ratio")

    def size(self) -> WrittenSize:
        """Take all words and return what they say together."""
        self._all()
        return replace(self._meant(), material=self._material_said)

    def _all(self) -> None:
        while self._at < len(self._tokens):
            self._next()

    def _meant(self) -> WrittenSize:
        if self._number is None:
            raise ValueError("names no size")
        how, number = self._number
        self._pipe_material = self._pipe_material or self._said
        if how == "plain":
            how = "inch" if self._in_inches else self._plain or self._of_pe(number)
            if not how:
                raise ValueError("holds a number without DN, d, mm or inches")
        if how == "od_mm":
            return WrittenSize(number, self._sdr, self._wall)
        if how == "mm":
            return self._millimetres(number)
        return self._nominal(self._family if how == "inch" else "dn", number)

    def _of_pe(self, number: float) -> str:
        # DN and outside diameter of PE are the same number, and no inch size of gas pipe is as large.
        is_metric = number >= _LEAST_BARE_MM and nominal_size("dn", number, "pe") is not None
        return "od_mm" if self._pipe_material == "pe" and is_metric else ""

    def _next(self) -> None:
        word = self._take()
        if word in ("sdr", "dr"):
            self._sdr = self._once(self._sdr, self._needed(word))
        elif word == "s":
            series = self._needed(word)
            if series not in _SDR_OF_SERIES:
                raise ValueError(f"holds the pipe series {series:g}, which is not known")
            self._sdr = self._once(self._sdr, _SDR_OF_SERIES[series])
        elif word in ("sch", "schedule"):
            if self._needed(word) != 40:
                raise ValueError("holds a schedule other than 40; write the wall")
            self._schedule = True
        elif word == "pn":
            self._needed(word)
        elif word[0].isdecimal():
            self._dimension(_number(word))
        else:
            self._word(word)

    def _word(self, word: str) -> None:
        if word in _MATERIAL_OF_WORD:
            self._material(word, _MATERIAL_OF_WORD[word])
        elif word in _OUTSIDE:
            self._outside(self._needed(word))
        elif word in _NOMINAL:
            self._nominal_word(word)
        elif word == "std":
            self._schedule = True
        elif word not in (*_FILLING, *_INCH_FAMILY):
            raise ValueError(f"holds {quoted(word)}, which is not known")

    def _material(self, word: str, material: PipeMaterial) -> None:
        if self._said and self._said != material:
            raise ValueError("names two materials")
        self._said = material
        named = _NAMED.get(word, "PE" if material == "pe" else "")
        if word == "iron" and self._at > 1:
            named = {"cast": "cast_iron", "ductile": "ductile_iron"}.get(self._tokens[self._at - 2], "")
        while material == "pe" and self._peek(self._peek(0) == "-") in _GRADES:
            self._at += 1 + (self._peek(0) == "-")
            named = _NAMED.get(f"pe{self._tokens[self._at - 1]}", named)
        self._material_said = self._material_said if named in ("", "PE") else named
        self._material_said = self._material_said or named

    def _nominal_word(self, word: str) -> None:
        if word == "dn" and self._peek(0) == "/" and self._peek(1) == "od":
            self._at += 2
            self._outside(self._needed("DN/OD"))
            return
        self._dimension(self._needed(word), "dn")

    def _outside(self, number: float) -> None:
        if self._peek(0) in _INCH:
            self._at += 1
            number *= MM_PER_INCH
        self._dimension(number, "od_mm")

    def _dimension(self, number: float, how: str = "plain") -> None:
        """Take the number of a size with what follows: a unit, and a wall."""
        unit = self._unit()
        if unit == "in":
            is_outside = self._peek(0) == "od" and not self._peek(1)[:1].isdecimal()
            self._at += is_outside
            how = "inch" if how == "plain" and not is_outside else "od_in"
        elif unit == "mm" and how == "plain":
            how = "mm"
        if self._peek(0) == "x":
            self._at += 1
            wall = self._needed("x")
            wall_unit = self._unit()
            in_inches = "in" in (wall_unit, unit)
            self._wall = wall * (MM_PER_INCH if in_inches else 1.0)
            how = "od_in" if in_inches else "od_mm"
        if how == "od_in":
            how, number = "od_mm", number * MM_PER_INCH
        if self._number is not None and self._number != (how, number):
            raise ValueError("names two sizes")
        self._number = (how, number)

    def _unit(self) -> str:
        word = self._peek(0)
        if word != "mm" and word not in _INCH:
            return ""
        self._at += 1
        return "mm" if word == "mm" else "in"

    def _millimetres(self, number: float) -> WrittenSize:
        # Of PE the size is the outside diameter; of steel and iron it may be either.
        if (
            self._pipe_material == "pe"
            or self._wall
            or self._sdr
            or is_outside_diameter(number, self._pipe_material)
        ):
            return WrittenSize(number, self._sdr, self._wall)
        return self._nominal("dn", number)

    def _nominal(self, family: SizeFamily, number: float) -> WrittenSize:
        material: PipeMaterial = self._pipe_material or ("pe" if self._sdr is not None else "")
        held = nominal_size(family, number, material)
        if held is None:
            self._not_held(family, number, material)
        wall = held.schedule_40_mm if self._schedule else None
        if self._schedule and wall is None:
            raise ValueError("holds a schedule of which no wall is known; write the wall")
        known = wall is not None or self._sdr is not None
        size = WrittenSize(held.od_mm, self._sdr, wall, None, held.source_key)
        if known or held.bore_mm is None:
            return size
        return replace(size, bore_mm=round(held.bore_mm, 4))

    def _not_held(self, family: SizeFamily, number: float, material: PipeMaterial) -> NoReturn:
        name = {"dn": f"DN {number:g}", "inch": f"{number:g} in", "cts": f"{number:g} in CTS"}[family]
        if family != "cts" and not material:
            raise ValueError(f"names {name} of a pipe of no known material")
        raise ValueError(
            f"names {name}, which the dimension tables do not hold for {material or 'this pipe'}"
        )

    def _take(self) -> str:
        self._at += 1
        return self._tokens[self._at - 1]

    def _peek(self, ahead: int) -> str:
        at = self._at + ahead
        return self._tokens[at] if at < len(self._tokens) else ""

    def _needed(self, word: str) -> float:
        while self._peek(0) in ("-", ":", "=", "."):
            self._at += 1
        if not self._peek(0)[:1].isdecimal():
            raise ValueError(f"holds {quoted(word)} without its number")
        return _number(self._take())

    @staticmethod
    def _once(before: float | None, now: float) -> float:
        if before is not None and before != now:
            raise ValueError("names two ratios")
        return now


def _number(word: str) -> float:
    if len(word) > 9 or not word.isascii():
        raise ValueError("holds a number that no size has")
    return float(word)
