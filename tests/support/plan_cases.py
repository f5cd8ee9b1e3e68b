"""Small random networks with rules, drawn so that whole plans on them are hard: for the exhaustive pricing."""

from __future__ import annotations

import math
import random
from typing import Any

import networkx as nx
import shapely

from netplan.network.work_section import WorkPart, work_section
from netplan.rules.read_rules import read_rules
from netplan.rules.rule_set import Rules
from tests.support.isolation_oracle import Case
from tests.support.main_lengths import split_some
from tests.support.networks import (
    EAST_M,
    NORTH_M,
    build,
    customer,
    fitting,
    line,
    main,
    service,
    station,
    valve,
)

__all__ = ["HOURS", "plan_case", "plan_rules"]

HOURS = 9.0


def plan_rules(seed: int) -> Rules:
    """Return rules with few sizes, no hoses, and prices that vary from case to case."""
    rng = random.Random(f"rules {seed}")  # noqa: S311
    ground = random.Random(f"ground {seed}")  # noqa: S311
    hours = random.Random(f"durations {seed}")  # noqa: S311
    ground_of_hoses = random.Random(f"hoses {seed}")  # noqa: S311
    far = has_dear_customers(seed)
    return read_rules(
        None,
        {
            "clearance": {"work_m": 0.9, "through_record_joints": seed % 4 == 1},
            "pressure": {"minimum_mbar": 19.0, "margin_mbar": rng.choice([0.5, 2.0])},
            "bypass": {
                "reach_m": random.Random(f"reach {seed}").choice([25.0, 60.0] if far else [12.0, 25.0, 60.0]),  # noqa: S311
                "from_other_mains": False,
                "bores_mm": [38.0, 63.0] if seed % 7 == 3 else [25.0, 51.0],
                "street_half_width_m": ground_of_hoses.choice([4.0, 7.0]),
                "parallel_max": rng.choice([1, 2]),
                "velocity_max_m_s": rng.choice([6.0, 20.0]),
            },
            "price": {
                "bypass": rng.choice([50.0, 400.0, 900.0]) / (2.0 if far else 1.0),
                "bypass_per_m": rng.choice([1.0, 15.0]),
                "open_valve": rng.choice([150.0, 700.0]),
                "gas_per_m3": rng.choice([2.0, 40.0]),
                "ramp": ground_of_hoses.choice([60.0, 400.0]),
            },
            "valve": {"tapping_reach_m": random.Random(f"valves {seed}").choice([5.0, 5.0, 2.0])},  # noqa: S311
            "purge": {
                "below_least": "refuse" if seed % 5 == 2 else "warn",
                "draw_is_load": seed % 8 != 5,
            },
            "excavation": {
                "price": ground.choice([0.0, 300.0, 900.0]),
                "price_per_m": ground.choice([0.0, 40.0]),
                "margin_m": ground.choice([0.3, 1.0]),
                "width_m": ground.choice([0.8, 2.0]),
                "merge_m": ground.choice([0.0, 1.0, 5.0, 20.0]),
            },
            "crew": {
                "relights_per_hour": rng.choice([2.0, 12.0]) * (15.0 if far else 1.0),
                "stop_crews": hours.choice([1, 2]),
                "meter_fitters": hours.choice([2, 5]),
            },
            "duration": {
                "cut_and_fit": hours.choice([60.0, 60.0, 150.0, 200.0]),
                "door": hours.choice([1.0, 5.0, 10.0]),
                "bypass_purge": hours.choice([20.0, 60.0]),
            },
            "choice": {
                "seconds": 600.0,
                "options": 5,
                "max_zones": 200_000,
                "max_solves": 10**7,
                "max_solves_without_option": 10**7,
            },
        },
    )


def plan_case(seed: int) -> Case:
    """Return a small network, meshed, sparse or tree-like by turns, with large and small customers."""
    rng = random.Random(f"plan {seed}")  # noqa: S311
    columns, rows = rng.choice([(2, 2), (2, 3), (3, 2), (2, 3), (3, 3)])
    places = {
        (i, j): (60.0 * i + rng.uniform(-9, 9), 60.0 * j + rng.uniform(-9, 9))
        for i in range(columns)
        for j in range(rows)
    }
    nodes = sorted(places)
    layers: dict[str, Any] = {"mains": [], "valves": [], "services": [], "customers": [], "regulators": []}
    edges = _edges(
        rng,
        columns,
        rows,
        ("sparse" if seed % 3 == 1 else "tree")
        if has_dear_customers(seed)
        else ("meshed", "sparse", "tree")[seed % 3],
    )
    for n, (a, b) in enumerate(edges):
        layers["mains"].append(
            main(
                f"M{n}",
                places[a],
                places[b],
                od_mm=rng.choice([63.0, 63.0, 90.0, 125.0, 180.0]),
                surface=rng.choice(["verge", "footway", "carriageway"]),
                year=2010,
            )
        )
    layers["mains"] = split_some(random.Random(f"joints {seed}"), layers["mains"], 3, 0.3)  # noqa: S311
    for n, (a, b) in enumerate(rng.sample(edges, min(len(edges), rng.choice([0, 0, 1, 2])))):
        share = rng.uniform(0.35, 0.65)
        (x0, y0), (x1, y1) = places[a], places[b]
        layers["valves"].append(
            valve(
                f"V{n}",
                (x0 + share * (x1 - x0), y0 + share * (y1 - y0)),
                rng.choice(["open", "closed"]),
                operable=rng.choice(["yes", "yes", "no"]),
            )
        )
    recorded = random.Random(f"couplers {seed}")  # noqa: S311
    layers["fittings"] = [
        fitting(f"F{n}", places[node]) for n, node in enumerate(nodes) if recorded.random() < 0.8
    ]
    _add_customers(rng, layers, places)
    for n, node in enumerate(rng.sample(nodes, rng.choice([1, 1, 2]))):
        x, y = places[node]
        outlet = (x - 12.0, y - 16.0)
        layers["regulators"].append(station(f"R{n}", outlet, outlet_mbar=rng.choice([22.5, 25.0, 30.0])))
        layers["mains"].append(main(f"N{n}", outlet, (x, y), od_mm=180.0, year=2010, surface="verge"))
        layers["valves"].append(valve(f"W{n}", (x - 6.0, y - 8.0)))
    _add_limits(random.Random(f"limits {seed}"), layers)  # noqa: S311
    _add_short_ends(random.Random(f"ends {seed}"), layers, [(places[a], places[b]) for a, b in edges])  # noqa: S311
    if seed % 3 != 1:
        _add_buildings(random.Random(f"buildings {seed}"), layers)  # noqa: S311
    if seed % 5 in (1, 2, 3):
        _add_streets(random.Random(f"streets {seed}"), layers, places, edges)  # noqa: S311
    if seed % 2:
        _add_water_and_rail(random.Random(f"water {seed}"), layers)  # noqa: S311
    if has_dear_customers(seed):
        _make_customers_dear(random.Random(f"dear {seed}"), layers)  # noqa: S311
    network = build(strict=False, **layers)
    row = rng.randrange(len(edges))
    length = float(network.pipes.length_m[row])
    near, half = (8.0, 5.0) if length > 30 else (0.1 * length, 0.15 * length)
    low = 0.0 if rng.random() < 0.2 else rng.uniform(near, length / 2 - half)
    high = length if rng.random() < 0.2 else rng.uniform(length / 2 + half, length - near)
    for at in network.valves.chainage_m[network.valves.pipe == row]:
        # No valve within a whole assembly of the work's ends.
        low = low if abs(low - at) > 8 else max(at - 9.0, 8.0)
        high = high if abs(high - at) > 8 else min(at + 9.0, length - 8.0)
    near_valve = any(
        min(abs(low - at), abs(high - at)) < 8.0
        for at in network.valves.chainage_m[network.valves.pipe == row]
    )
    if near_valve or high - low < 1.0:
        low, high = 0.0, length  # a short main with a valve: all of it
    part = WorkPart(network.pipes.id[row], low, high)
    if has_dear_customers(seed):
        between = random.Random(f"between {seed}")  # noqa: S311
        is_long = low > 0.0 and high < length and high - low > 5.0
        if not near_valve and is_long and between.random() < 0.7:
            middle = between.uniform(low + 1.0, high - 3.0)
            part = WorkPart(part.main_id, middle, middle + between.uniform(0.5, 2.0))
        _add_between_stops(between, layers, part)
        network = build(strict=False, **layers)
    return Case(network, work_section(network, [part]))


def has_dear_customers(seed: int) -> bool:
    """Whether a case is drawn so that customers are dear to turn off and bypasses likely."""
    return seed % 2 == 0


def _make_customers_dear(rng: random.Random, layers: dict[str, Any]) -> None:
    """Give customers less to burn and more to lose, stations more pressure, and some mains other sizes."""
    for row in layers["customers"]:
        row["category"] = rng.choice(["household", "business", "business"])
        row["annual_kwh"] = rng.choice([20e3, 60e3, 150e3])
        row["meters"] *= rng.randint(2, 5)
    for row in layers["regulators"]:
        row["outlet_mbar"] = rng.choice([27.0, 30.0])
    sizes: dict[str, float] = {}
    for row in layers["mains"]:
        # Parts of one main keep one size, so that lengths run on past their joints.
        name = row["id"].rstrip("abcdefgh")
        sizes.setdefault(name, rng.choice([row["od_mm"], row["od_mm"], 50.0, 125.0, 180.0]))
        if not name.startswith(("N", "E")):
            row["od_mm"] = sizes[name]


def _add_between_stops(rng: random.Random, layers: dict[str, Any], part: WorkPart) -> None:
    """Put a rail, a brook or a house across the work, and couplers near where its bypass is tapped."""
    way = next(row["geometry"] for row in layers["mains"] if row["id"] == part.main_id)
    size, (x0, y0), (x1, y1) = way.length, way.coords[0][:2], way.coords[-1][:2]
    along = (x1 - x0) / size, (y1 - y0) / size
    middle = (part.from_m + part.to_m) / 2

    def place(at: float, aside: float) -> tuple[float, float]:
        return x0 + at * along[0] - aside * along[1], y0 + at * along[1] + aside * along[0]

    if rng.random() < 0.5:
        ends = [place(middle, -rng.uniform(1.0, 6.0)), place(middle, rng.uniform(1.0, 15.0))]
        across = shapely.LineString(ends)
        kind = rng.choice(["rail", "water", "buildings"])
        wide = across if kind == "rail" else across.buffer(0.4, cap_style="flat")
        layers.setdefault(kind, []).append({"name": "", "geometry": wide})
    corner = EAST_M, NORTH_M
    for at in (part.from_m - rng.uniform(2.5, 7.0), part.to_m + rng.uniform(2.5, 7.0)):
        if rng.random() < 0.4 and 1.0 < at < size - 1.0:
            x, y = place(at, 0.0)
            layers["fittings"].append(fitting(f"G{len(layers['fittings'])}", (x - corner[0], y - corner[1])))


def _add_limits(rng: random.Random, layers: dict[str, Any]) -> None:
    """Give stations a fault pressure below every rating, and some mains an operating limit."""
    for row in layers["regulators"]:
        row["max_outlet_mbar"] = rng.choice([40.0, 50.0, 65.0])
    for row in layers["mains"]:
        row["mop_mbar"] = rng.choice([None] * 9 + [45.0, 55.0, 75.0])


def _add_buildings(rng: random.Random, layers: dict[str, Any]) -> None:
    """Put houses into the corners of streets and beside them, none over a main."""
    mains = [row["geometry"] for row in layers["mains"]]
    layers["buildings"] = []
    for way in mains:
        for end in (way.coords[0], way.coords[-1]):
            x, y = (at + rng.choice([-1.0, 1.0]) * rng.uniform(1.5, 6.0) for at in end[:2])
            wide, deep = rng.uniform(1.0, 6.0), rng.uniform(1.0, 6.0)
            house = shapely.box(x - wide / 2, y - deep / 2, x + wide / 2, y + deep / 2)
            if all(house.distance(other) > 0.5 for other in mains):
                layers["buildings"].append({"name": "", "geometry": house})


def _add_short_ends(
    rng: random.Random, layers: dict[str, Any], edges: list[tuple[tuple[float, float], tuple[float, float]]]
) -> None:
    """Let short mains end beside others, and put valves so near to an end that there is no room beside."""
    for n in range(rng.choice([0, 1, 2])):
        (x0, y0), (x1, y1) = rng.choice(edges)
        share, side = rng.uniform(0.1, 0.9), rng.choice([-1.0, 1.0])
        size, length = math.dist((x0, y0), (x1, y1)), rng.uniform(1.0, 12.0)
        x, y = x0 + share * (x1 - x0), y0 + share * (y1 - y0)
        far = x - side * (y1 - y0) / size * length, y + side * (x1 - x0) / size * length
        layers["mains"].append(main(f"E{n}", (x, y), far, od_mm=63.0, year=2010, surface="footway"))
    if rng.random() < 0.3:
        (x0, y0), (x1, y1) = rng.choice(edges)
        share = 0.8 / math.dist((x0, y0), (x1, y1))
        layers["valves"].append(valve("V9", (x0 + share * (x1 - x0), y0 + share * (y1 - y0))))


def _add_streets(
    rng: random.Random, layers: dict[str, Any], places: dict[Any, tuple[float, float]], edges: list[Any]
) -> None:
    """Lay streets beside most mains, so that bypasses keep to them and cross carriageways."""
    middle = {
        node: (x + rng.uniform(-4.0, 4.0), y + rng.uniform(-4.0, 4.0)) for node, (x, y) in places.items()
    }
    layers["streets"] = [
        {"name": "", "geometry": line(middle[a], middle[b])} for a, b in edges if rng.random() < 0.85
    ]


def _add_water_and_rail(rng: random.Random, layers: dict[str, Any]) -> None:
    """Let brooks and rails run across some mains."""
    for kind in ("water", "rail"):
        found = []
        for row in rng.sample(layers["mains"], min(2, len(layers["mains"]))):
            way = row["geometry"]
            at, size = way.interpolate(rng.uniform(0.2, 0.8), normalized=True), way.length
            (x0, y0), (x1, y1) = way.coords[0][:2], way.coords[-1][:2]
            aside = -(y1 - y0) / size, (x1 - x0) / size
            ends = [
                (at.x + far * aside[0], at.y + far * aside[1])
                for far in (-rng.uniform(2, 9), rng.uniform(2, 20))
            ]
            across = shapely.LineString(ends)
            found.append(across if kind == "rail" else across.buffer(rng.uniform(0.8, 2.5), cap_style="flat"))
        layers[kind] = [{"name": "", "geometry": shape} for shape in found]


def _edges(rng: random.Random, columns: int, rows: int, kind: str) -> list[tuple[Any, Any]]:
    grid = nx.grid_2d_graph(columns, rows)
    weighted: nx.Graph[Any] = nx.Graph()
    for a, b in sorted(tuple(sorted(edge)) for edge in grid.edges):
        weighted.add_edge(a, b, weight=rng.random())
    tree = nx.minimum_spanning_tree(weighted)
    keep = {"meshed": 1.0, "sparse": 0.35, "tree": 0.0}[kind]
    return [
        (a, b)
        for a, b in sorted(tuple(sorted(edge)) for edge in grid.edges)
        if tree.has_edge(a, b) or rng.random() < keep
    ]


def _add_customers(
    rng: random.Random, layers: dict[str, Any], places: dict[Any, tuple[float, float]]
) -> None:
    ends = {}
    for n, node in enumerate(sorted(places)):
        if rng.random() < 0.8:
            x, y = places[node]
            ends[f"S{n}"] = (x + 5.0, y + 7.0)
            layers["services"].append(service(f"S{n}", (x, y), ends[f"S{n}"], od_mm=63.0))
    names = sorted(ends)
    for n, name in enumerate(names):
        ids = name
        if rng.random() < 0.1 and len(names) > 1:
            ids = ";".join(sorted({name, rng.choice(names)}))
        layers["customers"].append(
            customer(
                f"C{n}",
                ends[name],
                service_id=ids,
                category=rng.choice(["household", "household", "household", "business"]),
                meters=rng.randint(1, 9),
                annual_kwh=rng.choice([20e3, 60e3, 300e3, 700e3]),
                priority="medical" if rng.random() < 0.08 else None,
            )
        )
