"""Ids of what an option is made of, and names of its states, the same in every table."""

from __future__ import annotations

from netplan.planfile.model import Excavation

__all__ = [
    "INERT_GAS_IN",
    "METERS_OFF_STATE",
    "NORMAL_STATE",
    "THROUGH_THE_GAUGE",
    "bypass_id",
    "fallback_id",
    "feed_open_state",
    "feed_shut_state",
    "gauge_id",
    "hole_id",
    "purge_state",
    "served_words",
    "state_words",
    "stop_id",
    "stop_in_state",
    "stop_out_state",
]

INERT_GAS_IN = "inert gas goes in here: no stop of this part has gas behind it"
"""Note of a purge point."""
THROUGH_THE_GAUGE = "its hose takes the outlet of the gauge on the live side: read another gauge meanwhile"
"""Note of a purge point: until its hose is off again that gauge is not read."""

NORMAL_STATE = "normal running"
"""What `State.after_step` says before anything is changed, and again at the end."""
METERS_OFF_STATE = "meters off"
"""What `State.after_step` says for the state right before the first stop."""


def stop_id(place: int) -> str:
    """Return the id of the stop at a place in the cut's order, from 0."""
    return f"S{place + 1}"


def hole_id(place: int) -> str:
    """Return the id of an excavation, from 0."""
    return f"H{place + 1}"


def bypass_id(place: int) -> str:
    """Return the id of a bypass or hose, from 0."""
    return f"B{place + 1}"


def fallback_id(place: int) -> str:
    """Return the id of a prepared fallback stop, from 0."""
    return f"F{place + 1}"


def gauge_id(place: int) -> str:
    """Return the id of a gauge, from 0."""
    return f"G{place + 1}"


def stop_in_state(stop: str) -> str:
    """Return what `State.after_step` says for the state right after a stop is set."""
    return f"{stop} in"


def purge_state(stop: str) -> str:
    """Return what `State.after_step` says while gas is let in round a stop for a purge."""
    return f"purge in at {stop}"


def stop_out_state(stop: str) -> str:
    """Return what `State.after_step` says right after a stop is taken out, gas being back in the zone."""
    return f"{stop} out"


def feed_shut_state(feed: str) -> str:
    """Return what `State.after_step` says right after a feed is shut, all stops being out."""
    return f"{feed} shut"


def feed_open_state(feed: str) -> str:
    """Return what `State.after_step` says for the state right after a feed is opened."""
    return f"{feed} open"


def served_words(excavation: Excavation) -> str:
    """Return what an excavation serves, in its order: "stop S1, gauge G1"."""
    return ", ".join(f"{one.what} {one.id}" for one in excavation.serves)


_STATE_WORDS = {NORMAL_STATE: "normal running, no stops", "nothing: all on": "normal running, no stops"}


def state_words(state: str) -> str:
    """Return a state in words for people; plans of earlier versions call the first one otherwise."""
    return _STATE_WORDS.get(state, state)
