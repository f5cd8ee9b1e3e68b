"""A recheck in words: the same for the terminal and the page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from netplan.outputs.figures_for_rules import figures_for_rules
from netplan.outputs.number_format import Figures
from netplan.planfile.model import Conditions, Plan
from netplan.planfile.recheck_answer import Against, LeastNow, MovedReading, RecheckAnswer, TouchedCustomer

__all__ = ["RecheckWords", "recheck_words"]

SUBJECTS: Final = {
    "superseded": "Superseded",
    "work section": "Work section",
    "priority": "Priority",
    "stop": "Stops",
    "feed": "Feeds",
    "pressure": "Pressure",
    "crew day": "Crew's day",
    "purge": "Purging",
    "zone": "Zone",
    "customers": "Customers told",
    "order of work": "Order of work",
    "fallback": "Fallbacks",
    "failure": "Loss sheet",
    "reading": "Readings",
}
"""How reasons are grouped, in the order of the page."""
MOVED_MBAR: Final = 0.1
"""Difference from the planned least inlet of a state from which it is shown (own) [mbar]."""
AS_PLANNED: Final = "The least kept meter inlet in every state of the work is as planned, to 0.1 mbar."
_STANDS: Final = "The plan holds with today's records, closures and weather."
_CORRECTED: Final = (
    "The plan holds with today's records, closures and weather. Write the corrections below into the pack."
)
_FALLS: Final = "The plan does not hold. Do not start from this pack: ask the planner for a new one."
_VOID: Final = "The plan is superseded. Its papers are void: do not start from them."
_NONE: Final = "not in a list"
_UNKNOWN: Final = {
    "": "",
    "standby and doubt": "Who is on standby or in doubt today could not be worked out: somebody has no gas.",
    "all": "Who is off, kept, on standby or in doubt today could not be worked out with these stops: take "
    "nobody's supply for granted.",
}


@dataclass(frozen=True, slots=True)
class RecheckWords:
    """A recheck in words.

    Parameters
    ----------
    title, verdict : str
    facts : tuple of (str, str)
        Name and value.
    against : tuple of (str, tuple of str)
        Reasons by subject.
    corrections : tuple of (str, tuple of str)
        What to correct in the pack, by subject.
    changes : tuple of (str, str, str)
        Record and distance; what has changed; what that does.
    more_changes : str
        Of records farther away; empty for none.
    customers : tuple of (str, str, str, str)
        Meter point, address with priority, told, now.
    unknown : str
        What could not be worked out; empty for nothing.
    readings : tuple of tuple of str
        Step, gauge and place, expected in the pack, today.
    states : tuple of tuple of str
        State of the work, planned least inlet, today's, at whom; only those that have moved.
    notes : tuple of str
    """

    title: str
    verdict: str
    facts: tuple[tuple[str, str], ...]
    against: tuple[tuple[str, tuple[str, ...]], ...]
    corrections: tuple[tuple[str, tuple[str, ...]], ...]
    changes: tuple[tuple[str, str, str], ...]
    more_changes: str
    customers: tuple[tuple[str, str, str, str], ...]
    unknown: str
    readings: tuple[tuple[str, str, str, str], ...]
    states: tuple[tuple[str, str, str, str], ...]
    notes: tuple[str, ...]


def recheck_words(answer: RecheckAnswer, plan: Plan, units: Figures) -> RecheckWords:
    """Return a recheck in words.

    Parameters
    ----------
    answer : RecheckAnswer
    plan : Plan
        The plan that was rechecked.
    units : Figures
        How figures are written.
    """
    units = figures_for_rules(units, plan.rules)
    name = answer.revision or answer.plan_sha256[:8]
    verdict = _VOID if answer.superseded_by else _FALLS
    if answer.holds:
        verdict = _CORRECTED if answer.corrections else _STANDS
    return RecheckWords(
        title=f"Morning check of plan {name}, option {answer.option}",
        verdict=verdict,
        facts=_facts(answer, plan, units),
        against=_by_subject(answer.against, units),
        corrections=_by_subject(answer.corrections, units),
        changes=tuple(
            (
                f"{one.layer} {one.feature_id}"
                + (
                    ""
                    if one.away_m is None
                    else f", {units.length(one.away_m)} away"
                    if one.away_m
                    else ", at the work"
                ),
                units.sentence(one.what),
                units.sentence(one.does),
            )
            for one in answer.changes
        ),
        more_changes=_more_changes(answer),
        customers=tuple(map(_customer, sorted(answer.customers, key=lambda one: not one.priority))),
        unknown=_UNKNOWN[answer.customers_unknown],
        readings=tuple(_reading(one, units) for one in answer.readings),
        states=tuple(_state(one, units) for one in answer.states if _has_moved(one)),
        notes=(
            *([AS_PLANNED] if answer.states and not any(map(_has_moved, answer.states)) else []),
            *(units.sentence(line) for line in answer.rules_differ),
            *answer.not_compared,
        ),
    )


def _facts(answer: RecheckAnswer, plan: Plan, units: Figures) -> tuple[tuple[str, str], ...]:
    work = ", ".join(f"{w.main_id} {units.length(w.from_m)} to {units.length(w.to_m)}" for w in plan.work)
    records = "the same as the plan was made on" if answer.same_records else "changed since the plan was made"
    today = "not solved" if answer.conditions is None else _conditions(answer.conditions, units)
    return (
        ("work section", work),
        ("checked", f"{answer.provenance.created[:16].replace('T', ' ')} UTC on {answer.provenance.source}"),
        ("records", records),
        ("planned for", _conditions(answer.planned, units)),
        ("checked for", today),
        ("rules", _rules(answer)),
    )


def _rules(answer: RecheckAnswer) -> str:
    if not answer.rules_differ:
        return "those of the plan"
    many = len(answer.rules_differ)
    return (
        f"{many} of them differ from the plan's, see below"
        if many > 1
        else "one differs from the plan's, see below"
    )


def _conditions(conditions: Conditions, units: Figures) -> str:
    when = (conditions.start or "any working day").replace("T", " ")
    return (
        f"{when}, {conditions.hours:g} h, air {units.temperature(conditions.air_temp_c)}, "
        f"demand {units.load(conditions.demand_total_m3h)}"
    )


def _by_subject(some: Iterable[Against], units: Figures) -> tuple[tuple[str, tuple[str, ...]], ...]:
    found: dict[str, list[str]] = {}
    for one in sorted(some, key=lambda one: list(SUBJECTS).index(one.subject)):
        found.setdefault(SUBJECTS[one.subject], []).append(units.sentence(one.what))
    return tuple((subject, tuple(lines)) for subject, lines in found.items())


def _more_changes(answer: RecheckAnswer) -> str:
    if answer.changes_elsewhere:
        many = answer.changes_elsewhere
        records = "records have" if many > 1 else "record has"
        return f"{many} {records} changed farther away; today's solution takes them in."
    if answer.same_records or answer.changes:
        return ""
    return "None in what the plan folder holds of the network: other records, or other columns, have changed."


def _customer(one: TouchedCustomer) -> tuple[str, str, str, str]:
    address = f"{one.address}; PRIORITY {one.priority}" if one.priority else one.address
    return one.id, address, _words(one.told), _words(one.now)


def _words(lists: Sequence[str]) -> str:
    return ", ".join(lists) if lists else _NONE


def _reading(one: MovedReading, units: Figures) -> tuple[str, str, str, str]:
    place = one.gauge_id
    if one.main_id:
        place += f", {one.main_id} at {units.chainage(one.chainage_m)}"
    planned = f"{units.pressure(one.planned_mbar)} ± {units.bare('pressure', one.band_mbar)}"
    today = units.pressure(one.today_mbar)
    if one.today_abort_mbar is not None and one.planned_abort_mbar != one.today_abort_mbar:
        planned += f", abort {units.needed(one.planned_abort_mbar)}"
        today += f", abort {units.needed(one.today_abort_mbar)}"
    return str(one.step), place, planned, today


def _has_moved(one: LeastNow) -> bool:
    """Return whether a state fails, or its least inlet is another one than planned."""
    if not one.holds or one.planned_mbar is None or one.today_mbar is None:
        return not one.holds or one.planned_mbar != one.today_mbar
    return abs(one.planned_mbar - one.today_mbar) >= MOVED_MBAR


def _state(one: LeastNow, units: Figures) -> tuple[str, str, str, str]:
    today = units.held(one.today_mbar) + ("" if one.holds else " FAILS")
    return one.state, units.held(one.planned_mbar), today, one.at
