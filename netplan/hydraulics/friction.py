"""Darcy friction factor, smooth from laminar to turbulent, with its exact slope.

Laminar 64/Re up to Re 2000, Colebrook from Re 4000, and between them the cubic in Re that meets both in
value and slope. A jump at a critical Reynolds number, as some textbooks draw it, leaves looped networks
without a solution near it; the smooth law always has exactly one.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import numpy.typing as npt

from netplan.core.arrays import Floats

__all__ = [
    "LAMINAR_UP_TO_REYNOLDS",
    "TURBULENT_FROM_REYNOLDS",
    "friction_and_slope",
    "friction_beyond_laminar",
    "friction_factor",
    "turbulent_factor",
]


LAMINAR_UP_TO_REYNOLDS: Final = 2000.0
"""Reynolds number up to which the flow is taken as laminar [-] (source: moody)."""

TURBULENT_FROM_REYNOLDS: Final = 4000.0
"""Reynolds number from which Colebrook's law holds [-] (source: colebrook)."""

_LAMINAR: Final = 64.0
_COLEBROOK_ROUGH: Final = 3.7
_COLEBROOK_SMOOTH: Final = 2.51
_TWO_DECADES: Final = 2.0 / math.log(10.0)
_HALLEY_STEPS: Final = 2
_FIRST_GUESS: Final = 7.0
_LEAST_REYNOLDS: Final = float(np.finfo(float).tiny)


def friction_factor(reynolds: npt.ArrayLike, relative_roughness: npt.ArrayLike) -> Floats:
    """Darcy friction factor.

    Parameters
    ----------
    reynolds : array_like
        Reynolds number, > 0 [-].
    relative_roughness : array_like
        Wall roughness over bore, 0 to about 0.05 [-]; broadcast against `reynolds`.

    Returns
    -------
    ndarray of float
        Darcy (not Fanning) friction factor [-].

    Notes
    -----
    Between Re 2000 and 4000 real flow wanders between both regimes; the cubic is a convention, not a
    measurement. Sources: moody, colebrook.
    """
    re, rough = np.broadcast_arrays(np.asarray(reynolds, float), np.asarray(relative_roughness, float))
    factor, _ = friction_and_slope(np.atleast_1d(re), np.atleast_1d(rough))
    return factor.reshape(re.shape)


def friction_and_slope(reynolds: Floats, relative_roughness: Floats) -> tuple[Floats, Floats]:
    """Darcy friction factor and its derivative by the Reynolds number.

    Parameters
    ----------
    reynolds, relative_roughness : ndarray of float, same shape (n,)
        Reynolds number > 0 [-] and wall roughness over bore [-].

    Returns
    -------
    factor, slope : ndarray of float, shape (n,)
        Darcy f [-] and df/dRe [-]; both continuous over all regimes.
    """
    with np.errstate(divide="ignore"):
        factor = _LAMINAR / reynolds
    slope = -factor / np.maximum(reynolds, _LEAST_REYNOLDS)
    beyond = (reynolds > LAMINAR_UP_TO_REYNOLDS).nonzero()[0]
    if beyond.size:
        factor[beyond], slope[beyond] = friction_beyond_laminar(reynolds[beyond], relative_roughness[beyond])
    return factor, slope


def friction_beyond_laminar(reynolds: Floats, relative_roughness: Floats) -> tuple[Floats, Floats]:
    """Darcy friction factor and its derivative by the Reynolds number, where no flow is laminar.

    Parameters
    ----------
    reynolds, relative_roughness : ndarray of float, same shape (n,)
        Reynolds number > 2000 [-] and wall roughness over bore [-].

    Returns
    -------
    factor, slope : ndarray of float, shape (n,)
        Darcy f [-] and df/dRe [-].
    """
    # Below Re 4000 Colebrook's law is asked at Re 4000, where the transition ends: once for both regimes.
    factor, slope = _colebrook(np.maximum(reynolds, TURBULENT_FROM_REYNOLDS), relative_roughness)
    between = (reynolds < TURBULENT_FROM_REYNOLDS).nonzero()[0]
    if between.size:
        factor[between], slope[between] = _transition(reynolds[between], factor[between], slope[between])
    return factor, slope


def turbulent_factor(reynolds: Floats, relative_roughness: Floats) -> Floats:
    """Darcy friction factor of Colebrook's law, whatever the regime.

    Parameters
    ----------
    reynolds, relative_roughness : ndarray of float, same shape (n,)
        Reynolds number > 0 [-] and wall roughness over bore [-].
    """
    return _colebrook(reynolds, relative_roughness)[0]


def _colebrook(reynolds: Floats, relative_roughness: Floats) -> tuple[Floats, Floats]:
    # Unknown x = 1/sqrt(f): x + (2/ln 10) ln(e/3.7 + 2.51 x/Re) = 0, two Halley steps reach rounding.
    rough = relative_roughness / _COLEBROOK_ROUGH
    smooth = _COLEBROOK_SMOOTH / reynolds
    x = -_TWO_DECADES * np.log(rough + smooth * _FIRST_GUESS)
    for _ in range(_HALLEY_STEPS):
        inside = rough + smooth * x
        residual = x + _TWO_DECADES * np.log(inside)
        bend = smooth / inside
        first = 1.0 + _TWO_DECADES * bend
        second = -_TWO_DECADES * bend * bend
        x -= residual / (first - 0.5 * residual * second / first)
    bend = _TWO_DECADES * smooth / (rough + smooth * x)
    factor = 1.0 / (x * x)
    slope = -2.0 * factor * bend / (reynolds * (1.0 + bend))
    return factor, slope


def _transition(reynolds: Floats, high: Floats, high_slope: Floats) -> tuple[Floats, Floats]:
    # From the laminar law to `high`, the factor at Re 4000, and its slope there.
    width = TURBULENT_FROM_REYNOLDS - LAMINAR_UP_TO_REYNOLDS
    low = _LAMINAR / LAMINAR_UP_TO_REYNOLDS
    low_slope = -low / LAMINAR_UP_TO_REYNOLDS * width
    high_slope = high_slope * width
    t = (reynolds - LAMINAR_UP_TO_REYNOLDS) / width
    # Cubic through both ends: low + low_slope t + b t² + a t³.
    a = low_slope + high_slope - 2.0 * (high - low)
    b = 3.0 * (high - low) - 2.0 * low_slope - high_slope
    factor = low + t * (low_slope + t * (b + t * a))
    slope = (low_slope + t * (2.0 * b + 3.0 * t * a)) / width
    return factor, slope
