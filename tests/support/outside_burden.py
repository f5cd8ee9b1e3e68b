"""What a plan costs, worked out from plan.json, the raw layers and the rules alone.

Follows docs/method-choice.md and shares no code with the package. Amounts are whole minor units. Lengths in
plan.json are rounded to a millimetre, so that an element near half a minor unit may have been rounded either
way: sums are intervals, mostly of one number.
"""

from __future__ import annotations

import itertools
import math
import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import networkx as nx
import shapely

from tests.support.independent import Frames, Walker
from tests.support.outside_excavations import OutsideExcavations

__all__ = ["Minor", "OutsideBurden"]

MINOR = 100
HALF_DIGIT_M = 0.0006
"""Half the last digit of a length in plan.json, and what a float may add [m]."""
SNAP_M = 0.05
SOURCES = ("regulators", "sensing_points", "injections")
AIR_PA = 101_325.0
# Methane: summation factor of ISO 6976 at 15 °C; critical temperature and acentric factor (Setzmann, Wagner).
METHANE = 0.04452, 190.564, 0.0114


@dataclass(frozen=True)
class Minor:
    """Least and greatest whole amount that the digits of plan.json allow [minor units]."""

    low: int = 0
    high: int = 0

    def __add__(self, other: Minor) -> Minor:
        return Minor(self.low + other.low, self.high + other.high)

    def __contains__(self, amount: float) -> bool:
        return self.low <= round(amount * MINOR) <= self.high


def _rounded(exact: float, error: float = 0.0) -> Minor:
    return Minor(round(exact - error), round(exact + error))


def _sum(some: Iterable[Minor]) -> Minor:
    return sum(some, Minor())


class OutsideBurden:
    """Prices and names the options of one plan.

    Parameters
    ----------
    plan : dict
        plan.json, of a network whose gas is methane.
    layers : dict of GeoDataFrame
        Raw layers.
    bore_mm : dict
        Bore of each pipe by (layer, id), as plan.gpkg has it [mm].
    """

    def __init__(self, plan: dict[str, Any], layers: Frames, bore_mm: dict[tuple[str, str], float]) -> None:
        self.plan, self.rules, self.layers, self.bore_mm = plan, plan["rules"], layers, bore_mm
        self.scale = plan["network"]["length_scale"]
        self.walker = Walker(layers, self.scale)
        self.main = {str(row["id"]): row for row in layers["mains"].to_dict("records")}
        self.customer = {str(row["id"]): row for row in layers["customers"].to_dict("records")}
        self.dug = OutsideExcavations(self.rules, self.walker, self.main, self.scale)
        self.one_node: Any = nx.utils.UnionFind()
        self.recorded: set[Any] = set()
        self.givers: set[Any] = set()
        self.marks = self._marks()
        self.chains = self._find_chains()

    # The five parts --------------------------------------------------------------------------------------

    def stops(self, option: dict[str, Any]) -> Minor:
        """Return price + price_per_mm_od · OD + price_surface of every stop, each rounded."""
        return self._priced(option["stops"])

    def fallbacks(self, option: dict[str, Any]) -> Minor:
        """Return the same of every place that a prepared fallback uses, each place once."""
        uses = [use for row in option["fallback"] for use in row["use"] if use["prepared_id"]]
        return self._priced({use["prepared_id"]: use for use in uses}.values())

    def _priced(self, stops: Iterable[dict[str, Any]]) -> Minor:
        methods = {method["name"]: method for method in self.rules["method"]}

        def one(stop: dict[str, Any]) -> Minor:
            method, main = methods[stop["method"]], self.main[stop["main_id"]]
            surface = method["price_surface"][main["surface"] or "unknown"]
            own = _rounded(MINOR * (method["price"] + method["price_per_mm_od"] * main["od_mm"] + surface))
            # A method's price includes its excavation; a valve is tapped in a pit beside it.
            pit = self.dug.amount(stop["main_id"]) if method["kind"] == "valve" else 0
            return own + Minor(pit, pit)

        return _sum(one(stop) for stop in stops)

    def interruption(self, option: dict[str, Any]) -> Minor:
        """Return the window and the wait for the crew of every customer off, each rounded on its own."""
        hours, pace = self.plan["conditions"]["hours"], self.rules["crew"]["relights_per_hour"]
        rates = self.rules["price"]["off_per_hour"]
        off = [self.customer[c["id"]] for c in option["customers"] if c["effect"] == "off"]
        relit, total = 0, Minor()
        for row in sorted(off, key=lambda row: self._turn(row, rates[row["category"]])):
            meters, rate = int(row["meters"]), rates[row["category"]]
            relit += meters
            total += _rounded(MINOR * rate * meters * hours)
            total += _rounded(MINOR * rate * meters * relit / pace)
        return total

    def feeds(self, option: dict[str, Any]) -> Minor:
        """Return every hose by its route and ramps, rounded, times those side by side; every valve opened."""
        price, slack = self.rules["price"], self.rules["bypass"]["slack"]

        def one(hose: dict[str, Any]) -> Minor:
            length = slack * shapely.LineString(hose["route"]).length / self.scale
            per_m = price["bypass_per_m"] if hose["kind"] == "bypass" else price["hose_per_m"]
            exact = price["bypass"] + per_m * length + price["ramp"] * hose["crossings"]
            each = _rounded(MINOR * exact, MINOR * per_m * 3 * HALF_DIGIT_M * (len(hose["route"]) - 1))
            tees = self.dug.tees(option, self.plan["work"], hose)
            return Minor(hose["parallel"] * each.low, hose["parallel"] * each.high) + Minor(tees, tees)

        opened = len(option["opened_valves"]) * round(MINOR * price["open_valve"])
        return _sum(map(one, option["bypasses"])) + Minor(opened, opened)

    def excavations(self, option: dict[str, Any]) -> Minor:
        """Return the work's own excavation, and those of dead ends that are not one with it or a stop's."""
        work = self.dug.work(self.plan["work"])
        ends = self.dug.ends(option, self.plan["work"], self._dead_ends(option))
        return _rounded(work, MINOR * self.rules["excavation"]["price_per_m"] * HALF_DIGIT_M) + Minor(
            ends, ends
        )

    def _dead_ends(self, option: dict[str, Any]) -> list[tuple[str, float]]:
        """Return the ends of mains inside the zones that are at no stop; no zone here may hold a loop."""
        graph: Any = nx.MultiGraph()
        for pipe in (pipe for zone in option["zones"] for pipe in zone["pipes"] if pipe["layer"] == "mains"):
            ident, low, high = pipe["pipe_id"], pipe["from_m"], pipe["to_m"]
            stops = [s["chainage_m"] for s in option["stops"] if s["main_id"] == ident]
            nodes = {
                round(at, 3): self.one_node[node]
                for at, node in self.marks[ident]
                if low - 1e-3 <= at <= high + 1e-3
            }
            for at in (low, high):
                if any(abs(at - stop) <= 2e-3 for stop in stops):
                    nodes = {k: v for k, v in nodes.items() if abs(k - at) > 2e-3}
                    nodes[at] = ("stop", ident, at)
            for (a, one), (b, two) in itertools.pairwise(sorted(nodes.items())):
                graph.add_edge(one, two, at={one: (ident, a), two: (ident, b)})
        assert graph.number_of_edges() < graph.number_of_nodes()
        return [
            data["at"][node]
            for a, b, data in graph.edges(data=True)
            for node in (a, b)
            if graph.degree(node) == 1 and node[0] != "stop"
        ]

    def gas(self, option: dict[str, Any]) -> Minor:
        """Return the gas of the zones, rounded length by length."""
        minor_per_m3 = MINOR * self.rules["price"]["gas_per_m3"] * self.rules["purge"]["volumes_in"]
        minor_per_m3 *= self._content()
        total = Minor()
        for lengths in self._elements(option):
            area = [math.pi / 4 * (self.bore_mm[pipe] / 1000) ** 2 for pipe, _ in lengths]
            volume = sum(a * length for a, (_, length) in zip(area, lengths, strict=True))
            # A service is in the zone whole, and its length is not read from plan.json.
            error = 0.0 if lengths[0][0][0] == "services" else 2 * HALF_DIGIT_M * max(area)
            total += _rounded(minor_per_m3 * volume, minor_per_m3 * error)
        return total

    def difference(self, option: dict[str, Any]) -> tuple[frozenset[tuple[int, str]], frozenset[str]]:
        """Return by what an option differs from others: chain and method of its stops, customers off."""
        off = frozenset(c["id"] for c in option["customers"] if c["effect"] == "off")
        return frozenset((self._chain(stop), stop["method"]) for stop in option["stops"]), off

    # The order of the crew -------------------------------------------------------------------------------

    @staticmethod
    def _turn(row: dict[str, Any], rate: float) -> tuple[Any, ...]:
        """Return what customers are relit in the order of: priority, the dearest, then as a person walks."""
        codes = ("hospital", "care_home", "medical", "school", "process")
        code = row["priority"] or ""
        rank = codes.index(code) if code in codes else len(codes) + (not code)
        texts = (row["street"] or "", row["number"] or "", row["address"], row["id"])
        return (rank, -rate, *(_natural(text) for text in texts), row["id"])

    # Gas -------------------------------------------------------------------------------------------------

    def _content(self) -> float:
        """Return the volume at 15 °C, 101.325 kPa of a cubic metre at the station's outlet in the ground."""
        kelvin = 273.15 + self.plan["conditions"]["ground_temp_c"]
        pressure = AIR_PA + 100.0 * self.plan["conditions"]["gas_outlet_mbar"]
        b, critical_k, acentric = METHANE

        def reduced(at_k: float) -> float:
            t = at_k / critical_k
            return float((0.083 - 0.422 / t**1.6 + acentric * (0.139 - 0.172 / t**4.2)) / at_k)

        at_15 = 1.0 - b**2
        here = 1.0 - b**2 * reduced(kelvin) / reduced(288.15) * pressure / AIR_PA
        return float(pressure / AIR_PA * 288.15 / kelvin * at_15 / here)

    def _marks(self) -> dict[str, list[tuple[float, Any]]]:
        """Return the nodes on every main: chainage [m] and name, ends included; valves part a main."""
        found: dict[str, list[tuple[float, Any]]] = defaultdict(list)
        for row, there in self.walker.joins.items():
            layer, ident = self.walker.name[row]
            if layer == "mains":
                found[ident] += [(at / self.scale, node) for at, node in there]
        for layer in (*SOURCES, "valves"):
            for record in self.layers[layer].to_dict("records") if layer in self.layers else ():
                place = self.walker.on_main(
                    shapely.force_2d(record["geometry"]), record.get("system") or "LP"
                )
                if place is not None:
                    ident = self.walker.name[place[0]][1]
                    at = place[1] / self.scale
                    near = [node for other, node in found[ident] if abs(other - at) * self.scale <= SNAP_M]
                    name = (layer, str(record.get("id", record.get("station_id"))))
                    node = near[0] if near and layer != "valves" else name
                    found[ident].append((at, node))
                    if layer in SOURCES:
                        self.recorded.add(node)
                    if layer in ("regulators", "injections"):
                        self.givers.add(node)
        return {ident: self._merged(some) for ident, some in found.items()}

    def _merged(self, marks: list[tuple[float, Any]]) -> list[tuple[float, Any]]:
        """Return the nodes of a main in order, those within the snap distance as one in their midst."""
        ordered = sorted(marks, key=lambda mark: (mark[0], str(mark[1])))
        groups = [[ordered[0]]]
        for at, node in ordered[1:]:
            last = groups[-1][-1]
            if (at - last[0]) * self.scale <= SNAP_M and "valves" not in (node[0], last[1][0]):
                groups[-1].append((at, node))
            else:
                groups.append([(at, node)])
        for group in groups:
            self.one_node.union(*(node for _, node in group))
        length = ordered[-1][0]
        ends = [next((at for at, _ in group if at in (0.0, length)), None) for group in groups]
        return [
            (sum(at for at, _ in group) / len(group) if end is None else end, group[0][1])
            for group, end in zip(groups, ends, strict=True)
        ]

    def _plain(self) -> set[Any]:
        """Return the nodes where two mains of the same make meet and nothing else is recorded."""
        ends: dict[Any, list[str]] = defaultdict(list)
        for ident, marks in self.marks.items():
            for low, high in itertools.pairwise(marks):
                ends[self.one_node[low[1]]].append(ident)
                ends[self.one_node[high[1]]].append(ident)
        for row, there in self.walker.joins.items():
            if self.walker.name[row][0] == "services":
                for _, node in there:
                    ends[self.one_node[node]].append("")
        taken = {self.one_node[node] for node, at in self._fittings() if at <= SNAP_M}
        taken |= {self.one_node[node] for node in self.recorded}
        return {
            node
            for node, mains in ends.items()
            if len(mains) == 2
            and "" not in mains
            and not (isinstance(node[0], str) or node in taken)
            and len({tuple(self.main[i][k] for k in ("od_mm", "material")) for i in mains}) == 1
            and len({self.bore_mm.get(("mains", i)) for i in mains}) == 1
        }

    def _fittings(self) -> Iterable[tuple[Any, float]]:
        """Yield, for every fitting on a main, each node there and how far along it is [m]."""
        for record in self.layers["fittings"].to_dict("records"):
            place = self.walker.on_main(shapely.force_2d(record["geometry"]), record.get("system") or "LP")
            if place is not None:
                for at, node in self.marks[self.walker.name[place[0]][1]]:
                    yield node, abs(at - place[1] / self.scale)

    def _elements(self, option: dict[str, Any]) -> Iterable[list[tuple[tuple[str, str], float]]]:
        """Yield the lengths that are rounded together, as pipes and metres: see the page for what they are."""
        plain = self._plain()
        joined: Any = nx.Graph()
        length: dict[Any, tuple[tuple[str, str], float]] = {}
        services: dict[Any, list[tuple[tuple[str, str], float]]] = defaultdict(list)
        works = [(w["main_id"], w["from_m"], w["to_m"]) for w in self.plan["work"]]
        hanging = self._services()
        for pipe in (pipe for zone in option["zones"] for pipe in zone["pipes"]):
            key, low, high = (pipe["layer"], pipe["pipe_id"]), pipe["from_m"], pipe["to_m"]
            if key[0] == "services":
                line = self.walker.lines[self.walker.row[key]]
                services[hanging[key[1]]].append((key, line.length / self.scale))
                continue
            nodes = [(at, node) for at, node in self.marks[key[1]] if low - 1e-3 <= at <= high + 1e-3]
            ends = [(at, ("work", key[1], at)) for m, a, b in works for at in (a, b) if m == key[1]]
            stops = [(at, ("stop", key[1], at)) for at in (low, high)]
            cuts = sorted(_first_of_each([*nodes, *ends, *stops]), key=lambda mark: mark[0])
            for (a, from_node), (b, to_node) in itertools.pairwise(cuts):
                name = (key, a)
                length[name] = (key, b - a)
                joined.add_node(name)
                middle = (a + b) / 2
                if not any(m == key[1] and from_m < middle < to_m for m, from_m, to_m in works):
                    joined.add_edges_from(
                        (name, ("joint", n))
                        for n in map(self.one_node.__getitem__, (from_node, to_node))
                        if n in plain
                    )
        for group in nx.connected_components(joined):
            yield [length[name] for name in group if name in length]
        yield from services.values()

    def _services(self) -> dict[str, int]:
        """Return which services hang together, without the mains."""
        graph: Any = nx.Graph()
        for row, there in self.walker.joins.items():
            layer, ident = self.walker.name[row]
            if layer == "services":
                graph.add_edges_from((("service", ident), self.one_node[node]) for _, node in there)
        return {
            node[1]: k
            for k, nodes in enumerate(nx.connected_components(graph))
            for node in nodes
            if node[0] == "service"
        }

    # Chains ----------------------------------------------------------------------------------------------

    def _chain(self, stop: dict[str, Any]) -> int:
        """Return the chain that a stop is on: a length of main between junctions, stations and injections."""
        at = stop["chainage_m"]
        marks = self.marks[stop["main_id"]]
        for k, (low, high) in enumerate(itertools.pairwise(marks)):
            if low[0] - 1e-3 <= at <= high[0] + 1e-3:
                return self.chains[stop["main_id"], k]
        raise AssertionError(f"{stop['id']} is beyond its main")

    def _find_chains(self) -> dict[tuple[str, int], int]:
        at: dict[Any, list[tuple[str, int]]] = defaultdict(list)
        for ident, marks in self.marks.items():
            for k, (low, high) in enumerate(itertools.pairwise(marks)):
                at[self.one_node[low[1]]].append((ident, k))
                at[self.one_node[high[1]]].append((ident, k))
        graph: Any = nx.Graph()
        givers = {self.one_node[node] for node in self.givers}
        graph.add_nodes_from(piece for pieces in at.values() for piece in pieces)
        for node, pieces in at.items():
            if len(pieces) == 2 and node not in givers:
                graph.add_edge(*pieces)
        return {piece: k for k, some in enumerate(nx.connected_components(graph)) for piece in some}


def _first_of_each(marks: list[tuple[float, Any]]) -> Iterable[tuple[float, Any]]:
    """Yield marks without those that lie within a millimetre of one before."""
    seen: list[float] = []
    for at, node in marks:
        if not any(abs(at - other) <= 1e-3 for other in seen):
            seen.append(at)
            yield at, node


_PARTS = re.compile(r"\d+|\D+")


def _natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """Return a key by which 2 comes before 10."""
    return tuple(
        (0, int(part), "") if part.isdecimal() else (1, 0, part.casefold().strip())
        for part in _PARTS.findall(text.strip())
    )
