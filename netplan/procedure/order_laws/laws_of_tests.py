"""Laws 22 and 23: the new pipe is tested apart from barriers, the tie-in below what is live."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from netplan.planfile.model import PressureTest
from netplan.procedure.order_laws.item_states import Moment, OrderWalk
from netplan.procedure.order_laws.law_breach import LawBreach

__all__ = ["new_pipe_before_tie_in", "tie_in_below_live"]

ROUNDING_MBAR: Final = 1.5e-3
"""What writing pressures to 0.001 mbar may cost (own) [mbar]."""


def _tests(walk: OrderWalk, what: str) -> Iterator[tuple[int, Moment, PressureTest]]:
    for place, moment in enumerate(walk.moments):
        for test in moment.step.pressure_tests:
            if test.what == what:
                yield place, moment, test


def new_pipe_before_tie_in(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 22: the new pipe passes its strength test before the tie-in, never against a barrier."""
    rules = walk.rules.pressure_test
    least = max(rules.new_pipe_mop_share * walk.rules.pressure.maximum_mbar, rules.new_pipe_least_mbar)
    found = list(_tests(walk, "new pipe"))
    if walk.cut < len(walk.moments) and not any(place < walk.tied_in for place, _, _ in found):
        yield LawBreach(22, None, (), "the new pipe is not tested before it is tied in")
    for _, moment, test in found:
        if test.against:
            yield LawBreach(22, moment.step.n, test.against, "the new pipe is tested against barriers")
        if test.test_mbar < least - ROUNDING_MBAR:
            what = f"the new pipe is tested at {test.test_mbar:g} mbar, below {least:g}"
            yield LawBreach(22, moment.step.n, (), what)


def tie_in_below_live(walk: OrderWalk) -> Iterator[LawBreach]:
    """Law 23: the tie-in is tested at no more than the lowest live pressure and the reverse rating."""
    found = list(_tests(walk, "tie-in"))
    if walk.cut < len(walk.moments) and not found:
        yield LawBreach(23, None, (), "the tie-in joints are not tested")
    live = [stop.pressure_mbar for stop in walk.option.stops if stop.pressure_mbar is not None]
    ratings = {method.name: method.reverse_rating_mbar for method in walk.rules.method}
    reverse = [rating for stop in walk.option.stops if (rating := ratings.get(stop.method)) is not None]
    for _, moment, test in found:
        # Gas is let in at what is live at its inlet, which may be more than is live elsewhere.
        most = min([*reverse, *(() if test.medium.startswith("gas") else live)], default=None)
        if most is not None and test.test_mbar > most + ROUNDING_MBAR:
            what = f"tie-in tested at {test.test_mbar:g} mbar, above {most:g} (live side, reverse rating)"
            yield LawBreach(23, moment.step.n, test.against, what)
