"""Laws of the friction factor: one smooth curve over all regimes, and its slope the slope of that curve."""

from __future__ import annotations

import numpy as np
import pytest

from netplan.hydraulics.friction import friction_and_slope

ROUGH = (0.0, 1e-5, 1e-3, 0.05)
EDGES = (2000.0, 4000.0)


@pytest.mark.parametrize("rough", ROUGH)
@pytest.mark.parametrize("edge", EDGES)
def test_value_and_slope_meet_at_the_edges_of_a_regime(rough: float, edge: float) -> None:
    factor, slope = friction_and_slope(edge * np.array([1.0 - 1e-9, 1.0, 1.0 + 1e-9]), np.full(3, rough))
    assert np.ptp(factor) < 1e-9
    assert np.ptp(slope) < 1e-9


@pytest.mark.parametrize("rough", ROUGH)
def test_the_slope_is_that_of_the_curve(rough: float) -> None:
    reynolds = np.concatenate([np.geomspace(1.0, 1e7, 200), np.linspace(2050.0, 3950.0, 39)])
    step = 1e-6 * reynolds
    roughness = np.full(len(reynolds), rough)
    _, slope = friction_and_slope(reynolds, roughness)
    above, below = (friction_and_slope(reynolds + sign * step, roughness)[0] for sign in (1.0, -1.0))
    measured = (above - below) / (2.0 * step)
    assert slope == pytest.approx(measured, rel=1e-4, abs=1e-12)


@pytest.mark.parametrize("rough", ROUGH)
def test_the_curve_between_the_regimes_lies_about_its_ends(rough: float) -> None:
    reynolds = np.linspace(2000.0, 4000.0, 201)
    factor, _ = friction_and_slope(reynolds, np.full(len(reynolds), rough))
    low, high = sorted((factor[0], factor[-1]))
    assert factor.min() > 0.8 * low
    assert factor.max() < 1.2 * high
