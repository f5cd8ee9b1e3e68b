"""Excavations: where the ground is opened, what for, how large, and what they cost."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from netplan.planfile.model.plan_inputs import PlanElement
from netplan.planfile.numbers import Degrees, Metres, Money, Rounded2, Rounded6

__all__ = ["Excavation", "ExcavationPrice", "Served"]


class Served(PlanElement):
    """One thing that an excavation is for.

    A stop or prepared fallback with its barriers and tappings, the work, the tee of a bypass or hose, a gauge
    or a purge point, by their ids; the work by its main. `dead end` is an end of a main, or a loop, that has
    to be purged while no purge point is planned there: `id` is the main.
    """

    what: Literal["stop", "work", "bypass", "hose", "gauge", "purge point", "dead end", "fallback"]
    id: str


class ExcavationPrice(PlanElement):
    """What is paid for an excavation that neither a stop nor a feed pays for.

    One `excavation.price` of the rules with the surcharge of `surface`, the dearest over it, and
    `excavation.price_per_m` for each of the metres of work section in `beyond_m`.
    """

    what: Literal["work", "dead end", "loop"]
    surface: str
    beyond_m: Rounded6 = Field(description="of work section, beyond excavation.length_m of the rules [m]")
    price: Money


class DugLength(PlanElement):
    """A length of main in an excavation: from its first to its last place there, with the surface over it."""

    main_id: str
    from_m: Metres
    to_m: Metres
    surface: str


class Excavation(PlanElement):
    """A place where the ground is opened. Those nearer to each other than the rules' merge_m are one.

    `price` is its part of the burden's `excavations`: 0 where the price of a stop, prepared fallback or feed
    in `included_in` pays for it.
    """

    id: str
    serves: tuple[Served, ...]
    main_id: str
    chainage_m: Metres = Field(description="of the first thing it serves; the middle for the work")
    x: Metres
    y: Metres
    lon: Degrees
    lat: Degrees
    street: str = ""
    outline: tuple[tuple[Metres, Metres], ...] = Field(
        description="corners in the working CRS, the first again last"
    )
    length_m: Rounded2 = Field(description="along the mains, all lengths together")
    width_m: Rounded2
    depth_m: Rounded2 = Field(description="to below the deepest main in it")
    cover_recorded: bool = Field(description="whether the cover of every main in it is on record")
    surface: tuple[str, ...]
    lengths: tuple[DugLength, ...] = Field(default=(), description="what of the mains it lays bare")
    shoring: bool
    traffic: tuple[str, ...]
    locate_first: str
    price: Money
    prices: tuple[ExcavationPrice, ...] = Field(default=(), description="what the price is made of")
    included_in: tuple[str, ...] = ()
