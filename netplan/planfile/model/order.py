"""Steps of the work, and what to do when a stop fails."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from netplan.planfile.model.part import Part
from netplan.planfile.numbers import Metres, Pressure, Rounded1

__all__ = ["Fallback", "FallbackUse", "FeedShut", "Loss", "Step"]


class FallbackUse(Part):
    """The stop to use instead."""

    valve_id: str | None = None
    main_id: str
    chainage_m: Metres
    method: str
    x: Metres
    y: Metres


class FeedShut(Part):
    """A feed that is shut when a stop fails, and the end at which that is done."""

    feed_id: str
    what: Literal["bypass", "hose", "opened valve"]
    main_id: str
    chainage_m: Metres
    x: Metres
    y: Metres


class Fallback(Part):
    """What to do when a stop fails, how long that takes, and who then goes off as well.

    `standby` are the customers kept so far who then lie in the larger zone, have no gas, or less than a kept
    inlet must hold, as solved. `tail_lost`: the stop parts the zone from a tail that the feeds under `shut`
    alone feed; shutting them is the control, no further stop is.
    """

    stop_id: str
    failure: Literal["will not set", "lost during open work"]
    use: tuple[FallbackUse, ...]
    minutes: Rounded1 | None
    standby: tuple[str, ...]
    note: str = ""
    shut: tuple[FeedShut, ...] = Field(default=(), description="feeds to be shut first, each at this end")
    tail_lost: bool = False


class Loss(Part):
    """A feed or a station lost with all stops in, and the customers kept so far who then fail, as solved."""

    what: Literal["bypass", "hose", "opened valve", "station"]
    id: str
    customers: tuple[str, ...]
    note: str = ""


class Step(Part):
    """One step of the work order: a draft for the operator's competent person."""

    n: int
    stage: str = Field(default="", description="which part of the order it belongs to")
    does: str
    uses: tuple[str, ...] = ()
    who: str
    hold: bool = Field(default=False, description="nobody goes on before the competent person says so")
    expect_mbar: Pressure | None = Field(default=None, description="pressure to be read [mbar gauge]")
    expect_at: str = Field(default="", description="id of the gauge, stop or customer it is read at")
    minutes: Rounded1 | None = None
    if_not: str = ""
