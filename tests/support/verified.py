"""An option of a plan verified after the fact, by means that share no code with planning.

Who is cut off: a walk over the raw layers (`tests.support.independent`). Pressures and flows: pandapipes on what
plan.gpkg holds (`tests.support.gpkg_flow`).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from netplan.planfile.model import Option
from tests.support.gpkg_flow import read, rebuild
from tests.support.independent import Outcome, Walker

__all__ = ["AGREE_MBAR", "check_flow", "check_walk"]

AGREE_MBAR = 0.05
"""What two programs may differ by at a pressure [mbar]: the gpkg's rounding and pandapipes' tolerance."""

Work = list[tuple[str, float, float]]


def check_walk(walker: Walker, option: Option, work: Work) -> Outcome:
    """Check that no gas reaches the work and that everybody is where the option says; return the walk."""
    cuts = [(stop.main_id, stop.chainage_m) for stop in option.stops if stop.valve_id is None]
    shut = frozenset(stop.valve_id for stop in option.stops if stop.valve_id is not None)
    after = walker.walk(cuts, work, closed=shut)
    assert not after.section_fed, "gas reaches the work section"

    cause = {c.id: c.cause for c in option.customers}
    assert len(cause) == len(option.customers), "a customer is listed twice"
    assert {c for c, why in cause.items() if why == "isolated"} == after.isolated
    # One whose second service still has gas is named too: who knows which of them feeds the house.
    before = walker.walk([], [])
    losing = {c for c, _ in after.dark - before.dark} - after.isolated
    assert after.stranded - before.stranded <= losing
    assert {c for c, why in cause.items() if why == "stranded"} == losing

    # Those kept are fed once the bypasses are walked too, those off are not.
    links = tuple(
        ((b.from_.main_id, b.from_.chainage_m), (b.to.main_id, b.to.chainage_m)) for b in option.bypasses
    )
    opened = frozenset(valve.valve_id for valve in option.opened_valves)
    with_feeds = walker.walk(cuts, work, closed=shut, opened=opened, links=links)
    assert not with_feeds.section_fed
    kept = {c.id for c in option.customers if c.effect == "kept"}
    off = {c.id for c in option.customers if c.effect == "off"}
    assert kept <= with_feeds.fed
    assert off.isdisjoint(with_feeds.fed - after.fed)
    return after


def check_flow(path: Path, rank: int, need_mbar: float, velocity_max_m_s: float) -> None:
    """Solve one option of a plan.gpkg anew: pressures agree, kept customers hold, hoses are not too fast."""
    layers = read(path, rank)
    theirs = rebuild(layers)
    ours = layers["nodes"].pressure_mbar.to_numpy(float)
    known = ~np.isnan(ours)
    assert np.abs(theirs.at(layers["nodes"].node[known]) - ours[known]).max() <= AGREE_MBAR
    customers = layers["customers"]
    kept = customers[customers.effect.isna() | (customers.effect == "kept")]
    # Those that were short before any stop are a finding of their own.
    held = theirs.at(kept[kept.pressure_mbar.isna() | (kept.pressure_mbar >= need_mbar)].node)
    assert held.min() >= need_mbar - AGREE_MBAR
    for bypass in layers["bypasses"].itertuples():
        assert theirs.bypass_flow_m3h[bypass.bypass_id] == pytest.approx(bypass.flow_m3h, rel=0.005)
        assert theirs.bypass_velocity_m_s[bypass.bypass_id] <= velocity_max_m_s * 1.002
