"""Random changes to the records of a random town: what may happen between a plan and the day of the work."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

import numpy as np
import shapely

from tests.support.networks import Row
from tests.whole_plan.draw import Town

__all__ = ["CHANGES", "Changed", "changed_town"]

Plan = dict[str, Any]
Rows = dict[str, list[Row]]


class Changed:
    """A town after changes, and what was done to it: (layer, id, words)."""

    def __init__(self, town: Town, option: Plan, seed: int) -> None:
        self.rng = np.random.default_rng([24, seed])
        self.town = Town(
            town.seed,
            copy.deepcopy(town.rows),
            town.work,
            town.rules,
            town.air_temp_c,
            town.own_supply,
            set(town.kinds),
        )
        self.option = option
        self.done: list[tuple[str, str, str]] = []
        inside = {p["pipe_id"] for z in option["zones"] for p in z["pipes"] if p["layer"] == "mains"}
        self.inside = sorted(inside)
        self.stop_mains = sorted({s["main_id"] for s in option["stops"]})

    @property
    def rows(self) -> Rows:
        return self.town.rows

    def pick(self, some: Any) -> Any:
        return some[int(self.rng.integers(len(some)))]

    def row(self, layer: str, ident: str) -> Row:
        return next(row for row in self.rows[layer] if row["id"] == ident)

    def some_main(self) -> Row:
        """Return a main: of the zone, of a stop, or any."""
        pools = [self.inside, self.stop_mains, [row["id"] for row in self.rows["mains"]]]
        there = {row["id"] for row in self.rows["mains"]}
        pool = [ident for ident in self.pick(pools) if ident in there]
        return self.row("mains", self.pick(pool or sorted(there)))

    def place_on(self, main: Row) -> shapely.Point:
        """Return a place on a main, near a stop of it where there is one."""
        here = [s["chainage_m"] for s in self.option["stops"] if s["main_id"] == main["id"]]
        at = float(self.rng.uniform(0.05, 0.95)) * main["geometry"].length
        if here and self.rng.random() < 0.5:
            at = float(self.pick(here)) + float(self.rng.uniform(-4.0, 4.0))
        line: shapely.LineString = main["geometry"]
        return shapely.Point(line.interpolate(min(max(at, 1.0), line.length - 1.0)))


def new_service(changed: Changed) -> bool:
    main = changed.some_main()
    tap = changed.place_on(main)
    number = 900 + len(changed.rows["services"])
    end = shapely.Point(tap.x + 3.0, tap.y + 6.0)
    like = dict(changed.rows["services"][0])
    changed.rows["services"].append({**like, "id": f"S{number}", "geometry": shapely.LineString([tap, end])})
    first = dict(changed.rows["customers"][0])
    first |= {"id": f"C{number}", "address": f"{number} New Row", "geometry": end, "meters": 1}
    first["priority"] = changed.pick((None, None, "hospital")) if "priority" in first else None
    if first.get("service_id"):
        first["service_id"] = f"S{number}"
    if first["priority"] is None:
        first.pop("priority")
    changed.rows["customers"].append(first)
    changed.done += [("services", f"S{number}", "new"), ("customers", f"C{number}", "new")]
    return True


def customer_gone(changed: Changed) -> bool:
    listed = {c["id"] for c in changed.option["customers"]}
    pool = [row for row in changed.rows["customers"] if row["id"] in listed] or changed.rows["customers"]
    if len(changed.rows["customers"]) < 3:
        return False
    row = changed.pick(pool)
    changed.rows["customers"].remove(row)
    changed.done.append(("customers", row["id"], "not in the records any more"))
    return True


def _customer(changed: Changed) -> Row:
    listed = {c["id"] for c in changed.option["customers"]}
    pool = [row for row in changed.rows["customers"] if row["id"] in listed]
    every = changed.rows["customers"]
    row: Row = changed.pick(pool if pool and changed.rng.random() < 0.7 else every)
    return row


def priority(changed: Changed) -> bool:
    row = _customer(changed)
    row["priority"] = None if row.get("priority") else "hospital"
    changed.done.append(("customers", row["id"], "priority"))
    return True


def meters(changed: Changed) -> bool:
    row = _customer(changed)
    row["meters"] = int(row.get("meters", 1)) + int(changed.rng.integers(1, 9))
    changed.done.append(("customers", row["id"], "meters"))
    return True


def address(changed: Changed) -> bool:
    row = _customer(changed)
    row["address"] = f"{row['address']} rear"
    changed.done.append(("customers", row["id"], "address"))
    return True


def demand(changed: Changed) -> bool:
    row = _customer(changed)
    row["annual_kwh"] = round(float(row["annual_kwh"]) * float(changed.pick((0.4, 1.5, 3.0, 5.0))), 1)
    changed.done.append(("customers", row["id"], "yearly energy"))
    return True


def valve_turned(changed: Changed) -> bool:
    pool = [row for row in changed.rows["valves"] if row["state"] in ("open", "closed")]
    if not pool:
        return False
    row = changed.pick(pool)
    row["state"] = "closed" if row["state"] == "open" else "open"
    changed.done.append(("valves", row["id"], f"{row['state']} instead of"))
    return True


def valve_failed(changed: Changed) -> bool:
    used = {s["valve_id"] for s in changed.option["stops"]} | {
        v["valve_id"] for v in changed.option["opened_valves"]
    }
    pool = [row for row in changed.rows["valves"] if row["id"] in used] or changed.rows["valves"]
    if not pool:
        return False
    row = changed.pick(pool)
    row["operable"] = "no"
    changed.done.append(("valves", row["id"], ""))
    return True


def other_size(changed: Changed) -> bool:
    row = changed.some_main()
    od_mm = float(changed.pick((63.0, 90.0, 125.0, 180.0)))
    if od_mm == row["od_mm"]:
        return False
    row |= {"od_mm": od_mm, "wall_mm": round(od_mm / 11.0, 1), "material": "PE100", "joint": "fusion"}
    changed.done.append(("mains", row["id"], "mm outside instead of"))
    return True


def not_live(changed: Changed) -> bool:
    row = changed.some_main()
    row["status"] = "abandoned"
    for other in changed.rows["mains"]:
        other.setdefault("status", "live")
    changed.done.append(("mains", row["id"], "recorded as not live now"))
    return True


def new_fitting(changed: Changed) -> bool:
    main = changed.some_main()
    changed.rows["fittings"].append(
        {
            "id": f"FN{len(changed.rows['fittings'])}",
            "kind": changed.pick(("coupler", "tapping_tee")),
            "geometry": changed.place_on(main),
        }
    )
    changed.done.append(("fittings", "", ""))
    return True


def new_keep_out(changed: Changed) -> bool:
    at = changed.place_on(changed.some_main())
    changed.rows["keep_out"].append(
        {"reason": "new works", "geometry": shapely.box(at.x - 2, at.y - 2, at.x + 2, at.y + 2)}
    )
    changed.done.append(("keep_out", "", ""))
    return True


def station_figures(changed: Changed) -> bool:
    row = changed.pick(changed.rows["regulators"])
    what = changed.pick(("outlet_mbar", "max_outlet_mbar", "capacity_m3h"))
    if what == "outlet_mbar":
        row[what] = float(row[what]) + float(changed.pick((-2.0, -0.5, 1.0)))
    elif what == "max_outlet_mbar" and row.get(what) is not None:
        row[what] = float(row[what]) + float(changed.pick((-2.0, 15.0)))
    else:
        row["capacity_m3h"] = float(changed.pick((5.0, 60.0, 400.0)))
    changed.done.append(("regulators", row["id"], "instead of"))
    return True


def new_link(changed: Changed) -> bool:
    """Lay a main from a place on one main to a place on another: gas may come by a way of its own."""
    first, second = changed.some_main(), changed.pick(changed.rows["mains"])
    if first["id"] == second["id"] or first.get("system") != second.get("system"):
        return False
    line = shapely.LineString([changed.place_on(first), changed.place_on(second)])
    if not 5.0 < line.length < 120.0:
        return False
    made = {k: v for k, v in first.items() if k not in ("id", "geometry", "status")}
    changed.rows["mains"].append({**made, "id": f"MN{len(changed.rows['mains'])}", "geometry": line})
    changed.done.append(("mains", changed.rows["mains"][-1]["id"], "new"))
    return True


def new_spur(changed: Changed) -> bool:
    main = changed.some_main()
    tap = changed.place_on(main)
    made = {k: v for k, v in main.items() if k not in ("id", "geometry", "status")}
    line = shapely.LineString([tap, shapely.Point(tap.x + 7.0, tap.y + 9.0)])
    changed.rows["mains"].append({**made, "id": f"MN{len(changed.rows['mains'])}", "geometry": line})
    changed.done.append(("mains", changed.rows["mains"][-1]["id"], "new"))
    return True


CHANGES: tuple[Callable[[Changed], bool], ...] = (
    new_service,
    customer_gone,
    priority,
    meters,
    address,
    demand,
    valve_turned,
    valve_failed,
    other_size,
    not_live,
    new_fitting,
    new_keep_out,
    station_figures,
    new_link,
    new_spur,
)


def changed_town(town: Town, option: Plan, seed: int) -> Changed:
    """Return the town of a plan after one to three changes; one seed in twelve changes nothing.

    Parameters
    ----------
    town : Town
    option : dict
        Of plan.json: what is near its work is changed most.
    seed : int
    """
    changed = Changed(town, option, seed)
    wanted = 0 if seed % 12 == 11 else int(changed.rng.integers(1, 4))
    # Every kind comes first in turn.
    kinds = [CHANGES[seed % len(CHANGES)], *(changed.pick(CHANGES) for _ in range(8))]
    made = 0
    for kind in kinds:
        if made >= wanted:
            break
        made += kind(changed)
    return changed
