"""How wide a main may be tapped, from a table written down here: for the oracles and checks alone.

Shares no code and no table with the program. Outlets are those of the shipped rules, by outside diameter of the
main; sizes compare by the names they go by in the trade.
"""

from __future__ import annotations

from typing import Final

OUTLETS: Final = (
    # from and to [mm outside]; gauge, vent, zone vent, bypass at most, bag [mm nominal]
    (32.0, 55.0, 20, 20, 20, 0, 0),
    (56.0, 70.0, 20, 20, 25, 25, 0),
    (71.0, 100.0, 25, 25, 25, 50, 0),
    (101.0, 145.0, 25, 25, 50, 50, 50),
    (146.0, 194.0, 25, 25, 50, 80, 65),
    (195.0, 290.0, 25, 25, 50, 100, 80),
    (291.0, 330.0, 25, 25, 80, 100, 100),
    (331.0, 2000.0, 25, 25, 80, 100, 0),
)
COLUMN: Final = {"gauge": 2, "vent": 3, "zone_vent": 4, "bypass": 5, "purge_in": 5, "barrier": 6}
NAMED: Final = {
    5: 15,
    8: 15,
    10: 15,
    20: 20,
    25: 25,
    32: 32,
    38: 40,
    40: 40,
    50: 50,
    51: 50,
    63: 65,
    76: 80,
    80: 80,
    102: 100,
}
"""Nominal sizes of the bores in use here [mm]: 1 in is 25 mm, 2 in 51 mm, and so on."""


def outlet_mm(role: str, kind: str, od_mm: float) -> int:
    """Return how wide a part of a stop is tapped on a main [mm nominal]; 0 for none, and in a gap."""
    if role == "barrier" and kind != "bag":
        return 0
    for row in OUTLETS:
        if row[0] - 0.1 < od_mm < row[1] + 0.1:
            return int(row[COLUMN[role]])
    return 0


def fits_outlets(roles: list[str], kind: str, od_mm: float) -> bool:
    """Whether everything that a stop needs can be tapped: all but its bypass tee."""
    wanted = [role for role in roles if role != "bypass" and (role != "barrier" or kind == "bag")]
    return all(outlet_mm(role, kind, od_mm) > 0 for role in wanted)


def named_mm(bore_mm: float) -> int:
    """Return the nominal size of a bore [mm]."""
    return NAMED[round(bore_mm)]
