"""The tappings of a hose keep the rules' clearance from ends of mains and from recorded fittings (own)."""

from __future__ import annotations

import pytest

from tests.own.test_pressure_areas import plan_of, two_areas
from tests.support.networks import fitting

CLEAR_M = 0.5


@pytest.mark.parametrize("at_m", [None, 299.4, 298.7, 299.95])
def test_a_hose_is_tapped_in_clear_of_fittings(at_m: float | None) -> None:
    # A hose over the gap between two mains; the nearest place is half a metre before the end of the first.
    layers = two_areas(31.0, 58.0, link="gap", mop_mbar=60.0, far_mop_mbar=60.0)
    layers["fittings"] = [] if at_m is None else [fitting("F1", (at_m, 0))]
    hoses = [b for option in plan_of(layers).options for b in option.bypasses if b.kind == "hose"]
    assert hoses
    marks = [300.0] if at_m is None else [300.0, at_m]
    for hose in hoses:
        (end,) = (place for place in (hose.from_, hose.to) if place.main_id == "M1")
        assert min(abs(end.chainage_m - mark) for mark in marks) >= CLEAR_M - 1e-3
    nearest = max(end for hose in hoses for end in (hose.from_.chainage_m, hose.to.chainage_m) if end < 300.0)
    # And no farther off than that asks for.
    assert nearest == pytest.approx({None: 299.5, 299.4: 298.9, 298.7: 299.5, 299.95: 299.45}[at_m], abs=1e-3)
