"""Limits that people rely on beside what is published: end points of purging, entry, pressures, distances."""

from __future__ import annotations

import csv
from importlib import resources

import pytest

from netplan.reference.purge_figures import end_points
from netplan.rules import default_rules

# Phase, medium, what is measured: relation, value, unit.
PUBLISHED = {
    # 29 CFR 1910.146 (b), hazardous atmosphere: above 10 % LFL, oxygen below 19.5 % or above 23.5 % by volume.
    ("entry", "any", "flammable gas in the trench"): ("below", 10.0, "% LFL"),
    ("entry", "any", "oxygen in the trench from below"): ("above", 19.5, "% volume"),
    ("entry", "any", "oxygen in the trench from above"): ("below", 23.5, "% volume"),
    # International Fuel Gas Code 2018, 406.7.1.3: a purge into service ends at 90 % fuel gas by volume.
    ("in", "gas on air", "fuel gas"): ("above", 90.0, "% volume"),
    ("in", "inert gas", "fuel gas"): ("above", 90.0, "% volume"),
    # Public safety advice: 25 % LFL as a general ceiling.
    ("out", "any", "flammable gas"): ("below", 25.0, "% LFL"),
}


def test_end_points_are_the_published_ones() -> None:
    ours = {(p.phase, p.medium, p.measured): (p.relation, p.value, p.unit) for p in end_points()}
    assert {key: ours.get(key) for key in PUBLISHED} == PUBLISHED


def test_shipped_rules_keep_the_published_figures() -> None:
    rules = default_rules()
    # A gas institution's published answer on low pressure: 19 mbar at the inlet of a meter.
    assert rules.pressure.minimum_mbar == pytest.approx(19.0)
    # IPCC AR5, 100 years.
    assert rules.purge.gwp_methane == pytest.approx(28.0)


def test_shipped_methods_stay_within_common_practice() -> None:
    methods = {method.kind.value: method for method in default_rules().method}
    bag, squeeze, valve = methods["bag"], methods["squeeze"], methods["valve"]
    # A low-pressure bag-stop kit: 1 psi of 68.948 mbar, mains of 4 to 12 in, outlets of 2 in.
    assert bag.rating_mbar <= 69.0
    assert bag.od_min_mm >= 101.6
    assert bag.od_max_mm <= 12.75 * 25.4 + 0.2
    sizes = [outlet for outlet in default_rules().outlet if outlet.bag_mm > 0.0]
    assert min(outlet.bag_mm for outlet in sizes) >= 50.0  # 2 in is DN 50
    assert min(outlet.od_min_mm for outlet in sizes) <= 110.0
    assert max(outlet.od_max_mm for outlet in sizes) >= 12.75 * 25.4
    # Two barriers with a vent between; no squeeze on early PE; no thrust on mechanical joints.
    for method in (bag, squeeze):
        assert method.barriers == 2
        outer, vent, inner = (
            max(part.offset_m for part in method.assembly if part.role == "barrier"),
            next(part.offset_m for part in method.assembly if part.role == "vent"),
            min(part.offset_m for part in method.assembly if part.role == "barrier"),
        )
        assert inner < vent < outer
        assert "mechanical" in method.refuse_joints
    assert squeeze.refuse_early_pe
    assert valve.barriers == 1


def test_the_order_of_priority_is_hospital_first() -> None:
    text = resources.files("netplan.customers").joinpath("priority.csv").read_text(encoding="utf-8")
    ranks = {row["code"]: int(row["rank"]) for row in csv.DictReader(text.splitlines())}
    assert min(ranks, key=ranks.__getitem__) == "hospital"
    assert len(set(ranks.values())) == len(ranks)
