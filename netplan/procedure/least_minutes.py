"""What one more stop, branch, service or meter adds to the day at least, however many there are.

Steps last whole tenths of a minute: minutes are rounded as a plan states them.
"""

from __future__ import annotations

from netplan.procedure.hours_by_counts import MINUTES_DIGITS, StopMinutes, relight_minutes
from netplan.rules import Rules

__all__ = [
    "least_minutes_of_branch",
    "least_minutes_of_meter",
    "least_minutes_of_relighting",
    "least_minutes_of_stop",
]


def least_minutes_of_stop(stop: StopMinutes, rules: Rules) -> float:
    """Return what each stop adds to the day at least, whatever stops and feeds there are besides [min].

    The branches that a zone with it has are left out, and the inlet of a station.
    """
    take = rules.duration
    own = _whole(stop.minutes) + _whole(take.vent) + _whole(take.withdraw)
    own += _whole(take.prove) / rules.crew.stop_crews
    if stop.barriers > 1:
        own += 5 * _whole(take.vent) + 2 * _whole(take.let_by) + _whole(take.withdraw)
    return own


def least_minutes_of_branch(rules: Rules) -> float:
    """Return what each branch adds to the day at least: it is purged of gas, and later of air [min]."""
    return 2.0 * _whole(rules.duration.purge_branch)


def least_minutes_of_meter(rules: Rules) -> float:
    """Return what turning off one more meter, or purging one more service, adds at least [min].

    That is the share of the fitters' rounds; all of them together are rounded once.
    """
    return rules.duration.door / rules.crew.meter_fitters


def least_minutes_of_relighting(rules: Rules) -> float:
    """Return what relighting one more meter adds to the day [min]."""
    return relight_minutes(1, rules)


def _whole(minutes: float) -> float:
    return round(minutes, MINUTES_DIGITS)
