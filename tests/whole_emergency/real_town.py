"""Emergencies in the open Schutterwald network, with valves set on it: the same checks as for random towns."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np

from tests.support import schutterwald
from tests.whole_emergency.answer_case import rules_with
from tests.whole_emergency.asking import rules_text
from tests.whole_emergency.hit_draws import drawn_hits
from tests.whole_emergency.runs import EmergencyRun, check_hit
from tests.whole_plan.making import write_layers
from tests.whole_plan.walk import Raw

__all__ = ["run_real_town", "with_valves"]

VALVES = 120


def with_valves(seed: int) -> dict[str, gpd.GeoDataFrame]:
    """Return the layers of the town with valves on some of its mains, most of them known to work."""
    layers = dict(schutterwald.layers())
    rng = np.random.default_rng([22, 6, seed])
    mains = layers["mains"]
    rows: list[dict[str, Any]] = []
    for k, row in enumerate(rng.choice(len(mains), size=VALVES, replace=False).tolist()):
        line = mains.geometry.iloc[row]
        rows.append(
            {
                "id": f"V{k:03d}",
                "state": "closed" if k < 2 else str(rng.choice(["open"] * 8 + ["unknown"])),
                "operable": str(rng.choice(["yes"] * 5 + ["no"])),
                "geometry": line.interpolate(float(rng.uniform(0.2, 0.8)), normalized=True),
            }
        )
    layers["valves"] = gpd.GeoDataFrame(rows, geometry="geometry", crs=mains.crs)
    # The year alone is missing for a squeeze: without one every main is of unknown resin.
    layers["mains"] = mains.assign(year=2003)
    return layers


def run_real_town(seed: int, folder: Path, most: int = 1000) -> EmergencyRun:
    """Check the answers at places of each kind, `most` of them."""
    layers = with_valves(seed)
    source = folder / "town.gpkg"
    write_layers(layers, source)
    own: dict[str, Any] = {"emergency": {"keep_away_m": 25.0}}
    (folder / "rules.toml").write_text(rules_text(own), encoding="utf-8")
    scale = _scale(layers["mains"])
    raw, run = Raw(layers, scale), EmergencyRun()
    rng = np.random.default_rng([22, 7, seed])
    hits = list(drawn_hits(raw, rng))
    for at in rng.permutation(len(hits))[:most].tolist():
        kind, words = hits[at]
        asked = [*words, "--crews", str(int(rng.choice([1, 2, 50])))]
        check_hit(raw, rules_with(own), source, folder, asked, run, kind.replace(" ", "_"))
    return run


def _scale(mains: gpd.GeoDataFrame) -> float:
    """Return planar over true length at the middle of the mains."""
    from pyproj import Proj, Transformer

    west, south, east, north = mains.total_bounds
    to_degrees = Transformer.from_crs(mains.crs, mains.crs.geodetic_crs, always_xy=True)
    factors = Proj(mains.crs).get_factors(*to_degrees.transform((west + east) / 2, (south + north) / 2))
    return round(float((factors.meridional_scale * factors.parallel_scale) ** 0.5), 7)
