"""What to do when a stop fails, as a sentence: the same in the steps, the work pack and the map."""

from __future__ import annotations

from collections.abc import Callable

from netplan.planfile.model import Fallback, FallbackUse, FeedShut

__all__ = ["fallback_words", "standby_words"]

Place = Callable[[str, float], str]
LOST = "lost during open work"


def _on_main(main_id: str, _chainage_m: float) -> str:
    """Name a place without a figure that carries a unit."""
    return f"main {main_id}"


def _shut(one: FeedShut, place: Place, *, live_end: bool) -> str:
    if one.what == "opened valve":
        return f"shut valve {one.feed_id} again"
    end = "live end" if live_end else "end"
    return f"shut {one.what} {one.feed_id} at its {end} on {place(one.main_id, one.chainage_m)}"


def _use(one: FallbackUse, place: Place) -> str:
    return (
        f"valve {one.valve_id}" if one.valve_id else f"{one.method} on {place(one.main_id, one.chainage_m)}"
    )


def standby_words(fallback: Fallback) -> str:
    """Return who goes off then; empty for nobody."""
    count = len(fallback.standby)
    if not count:
        return ""
    who = f"{count} customer{'s' * (count != 1)}"
    if fallback.failure == LOST:
        return f"{who} on standby lose gas at once: isolate their meters before gas goes back"
    return f"{who} on standby go off first"


def fallback_words(fallback: Fallback | None, place: Place = _on_main, *, with_stations: bool = True) -> str:
    """Return what to do when a stop fails.

    Parameters
    ----------
    fallback : Fallback or None
        None: nothing was planned.
    place : callable
        Returns a main and a chainage [m] as words; by default the main alone.
    with_stations : bool
        Whether to say what it does to stations; False where the note is printed as a whole.
    """
    if fallback is None:
        return "no fallback is planned for it: stand down and plan again"
    if fallback.minutes is None:
        why = fallback.note.removeprefix("no fallback: ")
        return f"no fallback is planned for it ({why}): stand down and plan again"
    acts = [_shut(one, place, live_end=fallback.tail_lost) for one in fallback.shut]
    if fallback.use:
        acts.append(f"fallback {', '.join(_use(one, place) for one in fallback.use)}")
    words = f"{', then '.join(acts)}, {fallback.minutes:.0f} min" if acts else ""
    more = ""
    if fallback.tail_lost:
        more = "the tail beyond fails uncontrolled: isolate, purge and relight all of it"
    elif not fallback.use:
        more = "there is no further stop: what lies beyond joins the zone"
    stations = [part for part in fallback.note.split("; ") if with_stations and part.startswith("station ")]
    return "; ".join(part for part in (words, more, standby_words(fallback), *stations) if part)
