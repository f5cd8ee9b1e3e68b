"""Laws of merging outlines: order-free, never two nearer than the rule, and against a slow way of its own."""

from __future__ import annotations

import random
from typing import Any

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st

from netplan.excavations import ServedLength, merged_outlines, outlines_of
from netplan.network.model import Network
from netplan.rules import ExcavationRules
from tests.support.networks import build, main, station
from tests.support.plan_excavations import grown
from tests.support.shares import at_least, seen

WIDTH_M = 1.0


@st.composite
def boxes(draw: st.DrawFn) -> list[Any]:
    """Return rectangles, turned, in a square of forty metres."""
    found = []
    for _ in range(draw(st.integers(2, 7))):
        x, y = draw(st.floats(0, 40)), draw(st.floats(0, 40))
        long, wide = draw(st.floats(0.5, 8)), draw(st.floats(0.5, 3))
        box = shapely.box(x, y, x + long, y + wide)
        found.append(shapely.affinity.rotate(box, draw(st.floats(0, 180))))
    return found


def merged(outlines: list[Any], within_m: float) -> set[tuple[int, ...]]:
    some = np.array(outlines, dtype=object)
    return {one.members for one in merged_outlines(some, within_m=within_m, width_m=WIDTH_M)}


@at_least(joined=20, apart=20)
@settings(max_examples=120, deadline=None)
@given(boxes(), st.sampled_from([0.0, 0.5, 3.0, 8.0]), st.randoms(use_true_random=False))
def test_merging_is_free_of_order_and_leaves_none_too_near(
    outlines: list[Any], within_m: float, shuffle: random.Random
) -> None:
    found = merged_outlines(np.array(outlines, dtype=object), within_m=within_m, width_m=WIDTH_M)
    assert sorted(member for one in found for member in one.members) == list(range(len(outlines)))
    for k, one in enumerate(found):
        for row in one.members:
            assert one.outline.buffer(1e-6).contains(outlines[row])
        for other in found[:k]:
            apart = shapely.distance(one.outline, other.outline)
            assert apart >= within_m
            assert apart > 0.0
    order = list(range(len(outlines)))
    shuffle.shuffle(order)
    turned = merged([outlines[row] for row in order], within_m)
    assert {tuple(sorted(order[row] for row in some)) for some in turned} == {one.members for one in found}
    slow, _ = grown(list(outlines), within_m, WIDTH_M)
    assert {tuple(sorted(group)) for group in slow} == {one.members for one in found}
    assert all(one.outline.geom_type == "Polygon" for one in found)
    seen("joined" if len(found) < len(outlines) else "apart")


@settings(max_examples=60, deadline=None)
@given(boxes(), st.sampled_from([0.5, 3.0]))
def test_a_further_outline_only_ever_joins_what_was_apart(outlines: list[Any], within_m: float) -> None:
    before = merged(outlines[:-1], within_m)
    after = merged(outlines, within_m)
    assert before
    assert all(any(set(some) <= set(more) for more in after) for some in before)


def test_what_is_joined_is_looked_at_again_beside_a_further_one() -> None:
    # Two pits 4.1 m apart, and a third 4.2 m from either and 3.7 m from what is dug between them.
    pits = [shapely.box(x, y, x + 0.1, y + 0.1) for x, y in ((0.0, 0.0), (3.0, 3.0), (4.22, -1.12))]
    assert min(pits[2].distance(pits[0]), pits[2].distance(pits[1])) > 4.16
    assert merged(pits, 4.16) == {(0, 1, 2)}
    assert merged([pits[0], pits[2]], 4.16) == {(0,), (1,)}


def bent() -> Network:
    """Return a main of two straight halves at a right angle."""
    mains = [main("M1", (0, 0), (50, 0), od_mm=125.0)]
    network = build(
        strict=False, mains=[*mains, main("M2", (50, 0), (50, 50))], regulators=[station("R1", (0, 0))]
    )
    assert network.scale == 1.0
    return network


@pytest.mark.parametrize(("low", "high"), [(10.0, 10.0), (0.0, 0.0), (48.0, 50.0), (49.9, 49.9)])
def test_an_outline_reaches_its_margin_beyond_what_it_serves(low: float, high: float) -> None:
    rules = ExcavationRules(margin_m=0.7, width_m=1.4)
    network = bent()
    (outline,) = outlines_of(network, rules, [(ServedLength(0, low, high),)])
    outline = shapely.affinity.translate(outline, *-network.pipes.coords_m[0])
    assert outline.equals_exact(
        shapely.box(low - 0.7, -0.7, high + 0.7, 0.7).normalize(), 1e-6, normalize=True
    )


def test_one_thing_on_two_mains_has_one_outline() -> None:
    rules = ExcavationRules(margin_m=0.5, width_m=1.0)
    things = [(ServedLength(0, 49.0, 50.0), ServedLength(1, 0.0, 1.0))]
    (outline,) = outlines_of(bent(), rules, things)
    assert outline.geom_type == "Polygon"
    assert outline.area == pytest.approx(2.0 + 2.0 - 1.0)
