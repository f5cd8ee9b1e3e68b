"""The closed vocabularies of the input contract, as small integer codes for arrays."""

from __future__ import annotations

from enum import IntEnum

__all__ = [
    "Attachment",
    "Category",
    "FittingKind",
    "Host",
    "Joint",
    "Layer",
    "Material",
    "Operable",
    "Status",
    "Surface",
    "ValveState",
    "Word",
    "YesNo",
]


class Word(IntEnum):
    """A word of the contract; the value is the code stored in arrays (uint8)."""

    @property
    def word(self) -> str:
        """The word as it stands in a layer."""
        return self.name if self.name.startswith("PE") else self.name.lower()

    @classmethod
    def words(cls) -> tuple[str, ...]:
        """All words, in the order of their codes."""
        return tuple(member.word for member in cls)


class Attachment(Word):
    """By what a customer is attached to its pipe."""

    NO_PIPE = 0
    SERVICE_ID = 1
    PART_OF_SERVICE_IDS = 2
    NEAREST_SERVICE = 3
    NEAREST_MAIN = 4
    FAR_SERVICE_ID = 5


class Material(Word):
    """What a pipe is made of."""

    PE80 = 0
    PE100 = 1
    PE = 2
    STEEL = 3
    DUCTILE_IRON = 4
    CAST_IRON = 5
    OTHER = 6

    @property
    def is_pe(self) -> bool:
        """Whether it is polyethylene of any grade."""
        return self in (Material.PE80, Material.PE100, Material.PE)


class Surface(Word):
    """What lies over a main."""

    UNKNOWN = 0
    VERGE = 1
    FOOTWAY = 2
    CARRIAGEWAY = 3
    UNMADE = 4


class Joint(Word):
    """How the lengths of a main are joined."""

    UNKNOWN = 0
    FUSION = 1
    MECHANICAL = 2
    SOCKET = 3


class Host(Word):
    """What a main is inserted in."""

    NONE = 0
    IRON = 1
    DUCT = 2


class ValveState(Word):
    """Recorded state of a valve."""

    OPEN = 0
    CLOSED = 1
    UNKNOWN = 2


class Operable(Word):
    """Whether a valve can be worked."""

    YES = 0
    NO = 1
    UNKNOWN = 2


class YesNo(Word):
    """A recorded yes or no."""

    UNKNOWN = 0
    YES = 1
    NO = 2


class FittingKind(Word):
    """What a fitting is."""

    TEE = 0
    ELBOW = 1
    COUPLER = 2
    REDUCER = 3
    CAP = 4
    TAPPING_TEE = 5
    TRANSITION = 6
    SQUEEZE_MARK = 7
    OTHER = 8


class Category(Word):
    """Kind of customer."""

    HOUSEHOLD = 0
    BUSINESS = 1
    INDUSTRY = 2
    PUBLIC = 3


class Status(Word):
    """Whether a pipe or station carries gas; only live ones do."""

    LIVE = 0
    ABANDONED = 1
    PROPOSED = 2


class Layer(Word):
    """The two layers of pipes."""

    MAINS = 0
    SERVICES = 1
