"""An invented hamlet as joined arrays: three streets, five paths and a close, about 150 customers."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from netplan.network.model import (
    Customers,
    Fittings,
    Injections,
    KeepOut,
    Network,
    Nodes,
    Pieces,
    Pipes,
    SensingPoints,
    Stations,
    Valves,
)
from netplan.network.text_column import TextColumn
from netplan.network.vocabulary import Category, FittingKind, Material, Surface

CRS = "EPSG:25832"
X0, Y0 = 431_000.0, 5_402_000.0
ORIGIN = np.array([X0, Y0])
SCALE = 0.99966
"""Scale of the projection at that place: planar over true length."""

HOSTILE = (
    "<script>window.hacked=1</script>",
    "\"quotes\" 'single' `back` \\ & <b>bold</b>",
    '=HYPERLINK("x";"y")',
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "\u202eright to left \u05d0\u05d1\u05d2",
    "#set page(fill: red) $x^2$ *bold* _it_ @ref #panic()",
    "[red]markup[/red] [/] {{ jinja }} {% raw %} ${js}",
    "x" * 500,
    "</textarea></title><img src=x onerror=window.hacked=1>",
)

HOSTILE_ID = "<img src=x onerror=window.hacked=1>{{x}}#panic()=1"
"""Id of the close's main in the hostile hamlet."""


@dataclass
class Drawing:
    """Pipes as drawn, before they become arrays."""

    id: list[str] = field(default_factory=list)
    coords: list[list[tuple[float, float]]] = field(default_factory=list)
    od_m: list[float] = field(default_factory=list)
    street: list[str] = field(default_factory=list)
    cuts: list[list[float]] = field(default_factory=list)

    def add(self, id_: str, coords: list[tuple[float, float]], od_m: float, street: str) -> int:
        self.id.append(id_)
        self.coords.append(coords)
        self.od_m.append(od_m)
        self.street.append(street)
        self.cuts.append([0.0, math.dist(*coords) / SCALE])
        return len(self.id) - 1


@dataclass
class House:
    """A customer and the service that feeds it."""

    street: str
    number: str
    xy: tuple[float, float]
    tap: tuple[float, float]
    main: int
    chainage_m: float
    flat: str = ""


def _streets(drawing: Drawing, tail: str) -> None:
    for row, name in enumerate(("Upper Lane", "Weaver Street", "Orchard Row")):
        drawing.add(f"M-H{row}", [(0, 100.0 * row), (400, 100.0 * row)], 0.180, name)
    for column in range(5):
        name = f"{('Ash', 'Birch', 'Cedar', 'Elm', 'Fir')[column]} Path"
        drawing.add(f"M-V{column}", [(100.0 * column, 0), (100.0 * column, 200)], 0.125, name)
    drawing.add(tail, [(400, 100), (540, 100)], 0.125, "Mill Close")
    for row in range(3):
        for column in range(5):
            drawing.cuts[row].append(100.0 * column / SCALE)
            drawing.cuts[3 + column].append(100.0 * row / SCALE)


def _houses(drawing: Drawing) -> list[House]:
    houses = []
    for main in (0, 1, 2, 8):
        (x_start, y), (x_end, _) = drawing.coords[main]
        for k, x in enumerate(np.arange(x_start + 12.0, x_end - 5.0, 18.0)):
            for side in (1, -1):
                number = str(2 * k + (1 if side > 0 else 2))
                chainage = (float(x) - x_start) / SCALE
                flats = ("Flat 1", "Flat 2", "Flat 10") if (main, number) == (8, "6") else ("",)
                for place, flat in enumerate(flats):
                    xy = (float(x) + 0.4 * place, y + side * 11.0)
                    houses.append(
                        House(drawing.street[main], number, xy, (float(x), y), main, chainage, flat)
                    )
                drawing.cuts[main].append(chainage)
    return houses


def _pipes(drawing: Drawing, n_mains: int) -> Pipes:
    coords = np.array([xy for line in drawing.coords for xy in line]) + ORIGIN
    n = len(drawing.id)
    od = np.array(drawing.od_m)
    return Pipes(
        id=TextColumn(drawing.id),
        n_mains=n_mains,
        material=np.full(n, Material.PE100, np.uint8),
        od_m=od,
        wall_m=od / 17.0,
        bore_m=od * 15.0 / 17.0,
        sdr=np.full(n, 17.0),
        mop_pa_gauge=np.full(n, 7500.0),
        system=np.zeros(n, np.int16),
        surface=np.full(n, Surface.FOOTWAY, np.uint8),
        joint=np.ones(n, np.uint8),
        host=np.zeros(n, np.uint8),
        excess_flow_valve=np.zeros(n, np.uint8),
        year=np.full(n, 1998.0),
        depth_m=np.full(n, 0.8),
        resin=TextColumn([""] * n),
        street=TextColumn(drawing.street),
        record_date=TextColumn(["2019-05-04"] * n),
        length_m=np.array([math.dist(*line) for line in drawing.coords]) / SCALE,
        coords_m=coords,
        coord_start=np.arange(0, 2 * n + 1, 2, dtype=np.int64),
    )


def _pieces(drawing: Drawing) -> tuple[Pieces, NDArray[np.float64]]:
    seen: dict[tuple[float, float], int] = {}
    rows: list[tuple[int, float, float, int, int]] = []
    for pipe, (start, end) in enumerate(drawing.coords):
        length = math.dist(start, end) / SCALE
        chainages = sorted({round(c, 6) for c in drawing.cuts[pipe]})
        nodes = []
        for chainage in chainages:
            share = chainage / length
            xy = tuple(round(a + share * (b - a), 3) for a, b in zip(start, end, strict=True))
            nodes.append(seen.setdefault((xy[0], xy[1]), len(seen)))
        for k in range(len(chainages) - 1):
            rows.append((pipe, chainages[k], chainages[k + 1], nodes[k], nodes[k + 1]))
    columns = [np.array(column) for column in zip(*rows, strict=True)]
    pieces = Pieces(
        pipe=columns[0].astype(np.int32),
        from_m=columns[1].astype(np.float64),
        to_m=columns[2].astype(np.float64),
        from_node=columns[3].astype(np.int32),
        to_node=columns[4].astype(np.int32),
        valve=np.full(len(rows), -1, np.int32),
        is_open=np.ones(len(rows), np.bool_),
    )
    return pieces, np.array(list(seen)) + ORIGIN


def _customers(houses: list[House], node_xy: NDArray[np.float64], hostile: bool) -> Customers:
    ids, addresses = [], []
    for k, house in enumerate(houses):
        ids.append(f"C{k:04d}")
        addresses.append(f"{house.flat + ', ' if house.flat else ''}{house.number} {house.street}")
    streets = [house.street for house in houses]
    notes, priority = [""] * len(ids), [""] * len(ids)
    care = next(k for k, h in enumerate(houses) if h.main == 8 and h.number == "9")
    medical = next(k for k, h in enumerate(houses) if h.main == 8 and h.number == "3")
    priority[care], notes[care] = "care_home", "night sister on ward phone, secret note A"
    priority[medical], notes[medical] = "medical", "oxygen at home, secret note B"
    if hostile:
        tail = [k for k, h in enumerate(houses) if h.main == 8]
        for k, text in zip(tail, HOSTILE, strict=False):
            addresses[k], streets[k] = text, text
            notes[k] = text if notes[k] else ""
    n = len(ids)
    category = np.zeros(n, np.uint8)
    category[care] = Category.PUBLIC
    category[::11] = Category.BUSINESS
    xy = np.array([house.xy for house in houses]) + ORIGIN
    nearest = [int(np.hypot(*(node_xy - point).T).argmin()) for point in xy]
    return Customers(
        id=TextColumn(ids),
        address=TextColumn(addresses),
        street=TextColumn(streets),
        number=TextColumn([house.number for house in houses]),
        postcode=TextColumn(["QX1 7ZZ"] * n),
        town=TextColumn(["Quexby"] * n),
        priority=TextColumn(priority),
        priority_note=TextColumn(notes),
        telephone=TextColumn([f"0000 55{k:04d}" for k in range(n)]),
        language=TextColumn(["de" if k % 7 == 3 else "" for k in range(n)]),
        category=category,
        meters=np.where(np.arange(n) == care, 3, 1).astype(np.int32),
        annual_kwh=np.full(n, 12_000.0),
        peak_kw=np.full(n, np.nan),
        service_regulator=np.zeros(n, np.uint8),
        x_m=xy[:, 0],
        y_m=xy[:, 1],
        attach_start=np.arange(n + 1, dtype=np.int32),
        attach_node=np.array(nearest, np.int32),
        attached_by=np.ones(n, np.uint8),
    )


def _base(
    houses: list[House], drawing: Drawing, n_mains: int, *, hostile: bool
) -> dict[str, gpd.GeoDataFrame]:
    names = list(HOSTILE[:n_mains]) if hostile else drawing.street[:n_mains]
    lines = [shapely.LineString(np.array(c) + ORIGIN - (0, 4)) for c in drawing.coords[:n_mains]]
    boxes = [shapely.box(X0 + x - 6, Y0 + y - 4, X0 + x + 6, Y0 + y + 5) for x, y in (h.xy for h in houses)]
    river = shapely.LineString([(X0 - 80, Y0 - 60), (X0 + 250, Y0 - 45), (X0 + 640, Y0 - 70)]).buffer(12)
    rail = shapely.LineString([(X0 - 80, Y0 + 260), (X0 + 640, Y0 + 245)])
    return {
        "streets": gpd.GeoDataFrame({"name": names}, geometry=lines, crs=CRS),
        "buildings": gpd.GeoDataFrame({"name": [""] * len(boxes)}, geometry=boxes, crs=CRS),
        "water": gpd.GeoDataFrame({"name": ["Thrimble Brook"]}, geometry=[river], crs=CRS),
        "rail": gpd.GeoDataFrame({"name": ["branch line"]}, geometry=[rail], crs=CRS),
    }


def hamlet(*, hostile: bool = False) -> Network:
    """Return the invented hamlet: three streets, five paths and a close, about 140 customers."""
    drawing = Drawing()
    _streets(drawing, HOSTILE_ID if hostile else "M-TAIL")
    n_mains = len(drawing.id)
    houses = _houses(drawing)
    for k, house in enumerate(houses):
        drawing.add(f"S{k:04d}", [house.tap, house.xy], 0.032, house.street)
    pieces, node_xy = _pieces(drawing)
    n_nodes = len(node_xy)
    station = int(np.hypot(*(node_xy - (X0, Y0)).T).argmin())
    none = np.zeros(0, np.int32)
    return Network(
        source="hamlet",
        content_sha256="0" * 64,
        crs=CRS,
        crs_note="",
        scale=SCALE,
        systems=("LP",),
        recorded=frozenset({"mains", "services", "customers", "regulators", "valves", "fittings"}),
        nodes=Nodes(node_xy[:, 0], node_xy[:, 1], np.full(n_nodes, np.nan), np.zeros(n_nodes, np.int16)),
        pipes=_pipes(drawing, n_mains),
        pieces=pieces,
        valves=Valves(
            TextColumn(["V-1"]),
            np.zeros(1, np.uint8),
            np.zeros(1, np.uint8),
            np.array([8], np.int32),
            np.array([-1], np.int32),
            np.array([3.0]),
        ),
        stations=Stations(
            TextColumn(["R-1"]),
            np.array([station], np.int32),
            np.array([2700.0]),
            np.array([5000.0]),
            np.array([0.2]),
            np.array([-1], np.int32),
            TextColumn([""]),
            np.zeros(1, bool),
            np.zeros(1, np.uint8),
        ),
        sensing=SensingPoints(none, none),
        injections=Injections(TextColumn(), none),
        customers=_customers(houses, node_xy, hostile),
        fittings=Fittings(
            TextColumn(["F-1"]),
            np.array([FittingKind.COUPLER], np.uint8),
            np.array([8], np.int32),
            np.array([66.0]),
        ),
        keep_out=KeepOut(np.zeros(0, object), TextColumn()),
        base=_base(houses, drawing, n_mains, hostile=hostile),
    )
