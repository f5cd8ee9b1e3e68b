"""What a plan tells of each customer, and what is so today: off, kept, on standby, in doubt."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from netplan.network.model import Network
from netplan.planfile import SolvedState
from netplan.planfile.model import Option
from netplan.planfile.recheck_answer import TouchedCustomer

__all__ = ["Lists", "lists_of", "lists_without_option", "relieved", "touched_customers"]

Lists = dict[str, tuple[str, ...]]
"""What is said of each customer who stands in a list, by id: each list once, in a fixed order."""

BELOW = "pressure fails"
STANDBY = "standby"


def lists_of(option: Option, below: Iterable[str] = (), *, whole: bool = True) -> Lists:
    """Return what an option says of each customer.

    Parameters
    ----------
    option : Option
    below : iterable of str
        Customers kept who do not hold, by id.
    whole : bool
        False to leave out standby and doubt, where they are not known.
    """
    said: dict[str, list[str]] = {}
    for customer in option.customers:
        words = "off" if customer.effect == "off" else f"kept by {customer.kept_by or 'a feed'}"
        said.setdefault(customer.id, []).append(words)
    for name in below:
        said.setdefault(name, []).append(BELOW)
    if whole:
        for name in option.standby:
            said.setdefault(name, []).append(STANDBY)
        for name in dict.fromkeys(row.id for row in option.in_doubt):
            said.setdefault(name, []).append("in doubt")
    return {name: tuple(words) for name, words in said.items()}


def lists_without_option(off: Iterable[str], kept_by: Mapping[str, str], below: Iterable[str]) -> Lists:
    """Return what is so of each customer where fallbacks and doubts are not known.

    Parameters
    ----------
    off : iterable of str
    kept_by : mapping
        Id of the feed that keeps a customer, by the customer's id.
    below : iterable of str
        Customers kept who do not hold.
    """
    said: dict[str, list[str]] = {name: ["off"] for name in off}
    for name, feed in kept_by.items():
        said.setdefault(name, []).append(f"kept by {feed or 'a feed'}")
    for name in below:
        said.setdefault(name, []).append(BELOW)
    return {name: tuple(words) for name, words in said.items()}


def touched_customers(
    told: Lists, now: Lists, network: Network, state: SolvedState
) -> tuple[TouchedCustomer, ...]:
    """Return whom the plan does not tell what is so today, by id.

    Parameters
    ----------
    told, now : Lists
    network : Network
        Today's: address and priority are those of today, of the plan for who is no customer any more.
    state : SolvedState
        The plan's.
    """
    customers, before = network.customers, state.customers
    place = {name: row for row, name in enumerate(before.customer_id)}
    found = []
    for name in sorted({*told, *now}):
        was, is_now = told.get(name, ()), now.get(name, ())
        row = customers.id.find(name)
        if row < 0 and was:
            is_now = ("not in the records any more",)
        if was == is_now:
            continue
        if row >= 0:
            what = (customers.address[row], customers.priority[row], int(customers.meters[row]))
        else:
            old = place.get(name, -1)
            what = (
                (before.address[old], before.priority[old], int(before.meters[old]))
                if old >= 0
                else ("", "", 1)
            )
        found.append(
            TouchedCustomer(id=name, address=what[0], priority=what[1], meters=what[2], told=was, now=is_now)
        )
    return tuple(found)


def relieved(one: TouchedCustomer) -> TouchedCustomer:
    """Return a customer in weather milder than planned: who need not stand by then misses nothing."""
    need_not = one.now == tuple(words for words in one.told if words != STANDBY)
    return one.model_copy(update={"by_milder_weather": need_not})
