"""Customers on services, or on mains where no services are recorded."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from netplan.core.arrays import Floats, Ints
from netplan.core.findings import Severity
from netplan.network.finding_log import FindingLog, listed
from netplan.network.nearer_services import nearer_services
from netplan.network.normalise import NormalisedTable
from netplan.network.pipe_joining import SNAP_M, NodePlaces, PipePolylines
from netplan.network.point_placement import MainIndex, nodes_at
from netplan.network.text_column import TextColumn
from netplan.network.vocabulary import Attachment

__all__ = ["MAIN_REACH_M", "SERVICE_REACH_M", "attach_customers", "named_services", "service_ends"]

SERVICE_REACH_M: Final = 5.0
"""A customer without a service id hangs on the nearest service end within this distance (own) [m]."""
MAIN_REACH_M: Final = 50.0
"""Where no services are recorded a customer hangs on the nearest main within this distance (own) [m]."""
TWO_MAINS_M: Final = 1.0
TWO_SERVICES_M: Final = 1.0
"""A service end at most so much farther than the nearest one may as well be the customer's (own) [m]."""
_ROUNDING_M: Final = 1e-9


def service_ends(course: PipePolylines, joins: NodePlaces, feature_id: TextColumn, notes: FindingLog) -> Ints:
    """Return the node of the customer's end of each service: the end that is on no main.

    Parameters
    ----------
    feature_id : TextColumn
        Feature of every service row.
    """
    ends = joins.end_node[course.n_mains :]
    on_main = np.zeros(joins.n_nodes, dtype=bool)
    on_main[joins.end_node[: course.n_mains].ravel()] = True
    on_main[joins.before[joins.pipe < course.n_mains]] = True
    through = joins.pipe >= course.n_mains
    links = np.bincount(ends.ravel(), minlength=joins.n_nodes)
    links += 2 * np.bincount(joins.before[through], minlength=joins.n_nodes)
    taken, joined = on_main[ends], links[ends] > 1
    # Prefer the end on no main, then the one on nothing at all, then the last vertex.
    first_is_end = ~taken[:, 0] & (taken[:, 1] | (joined[:, 1] & ~joined[:, 0]))
    xy = np.column_stack([joins.x_m[ends[:, 1]], joins.y_m[ends[:, 1]]])
    notes.add_each(
        "service-on-no-main",
        "services",
        feature_id,
        np.asarray(~(taken | joined).any(axis=1)),
        Severity.WARNING,
        "starts on no main and on no other service",
        "extend it to its main, or correct its system",
        xy,
    )
    notes.add_each(
        "service-between-mains",
        "services",
        feature_id,
        np.asarray(taken.all(axis=1)),
        Severity.WARNING,
        "has both ends on a main; its last vertex is taken as the customer's end",
        "end it at the customer",
        xy,
    )
    _notice_touching(joins, on_main, ends, through, course.n_mains, feature_id, notes)
    hosts = np.bincount(joins.before[~through], minlength=joins.n_nodes)
    ends_there = np.bincount(joins.end_node[: course.n_mains].ravel(), minlength=joins.n_nodes)
    notes.add_each(
        "service-on-crossing",
        "services",
        feature_id,
        np.asarray(((hosts > 1) & (ends_there == 0))[ends].any(axis=1)),
        Severity.WARNING,
        "starts where two mains cross; both are taken as joined there",
        "move its start along the main that feeds it",
        xy,
    )
    return np.where(first_is_end, ends[:, 0], ends[:, 1])


def _notice_touching(
    joins: NodePlaces,
    on_main: NDArray[np.bool_],
    ends: Ints,
    through: NDArray[np.bool_],
    n_mains: int,
    feature_id: TextColumn,
    notes: FindingLog,
) -> None:
    n = len(ends)
    node = np.concatenate([ends[:, 0], ends[:, 1], joins.before[through]])
    row = np.concatenate([np.arange(n), np.arange(n), joins.pipe[through] - n_mains])
    away = ~on_main[node]
    node, row = node[away], row[away]
    order = np.lexsort([row, node])
    node, row = node[order], row[order]
    pair = np.flatnonzero((np.diff(node) == 0) & (np.diff(row) != 0))
    one, other = row[pair], row[pair + 1]
    names = feature_id.arrow
    apart = np.asarray(
        pc.not_equal(names.take(pa.array(one)), names.take(pa.array(other))).to_numpy(zero_copy_only=False)
    )
    one, other, place = one[apart], other[apart], node[pair][apart]
    with_other = dict(zip(other.tolist(), one.tolist(), strict=True))
    xy = np.full((n, 2), np.nan)
    xy[other] = np.column_stack([joins.x_m[place], joins.y_m[place]])
    notes.add_each(
        "services-touch",
        "services",
        feature_id,
        np.unique(other),
        Severity.WARNING,
        lambda service: (
            f"touches service {feature_id[with_other[service]]} away from any main; taken as joined"
        ),
        "separate them, or leave them if one branches off the other",
        xy,
    )


def attach_customers(
    course: PipePolylines,
    joins: NodePlaces,
    index: MainIndex,
    customers: NormalisedTable,
    xy_m: Floats,
    feature_id: TextColumn,
    ends: Ints,
    named: tuple[Ints, Ints],
    notes: FindingLog,
) -> tuple[Ints, Ints, NDArray[np.uint8]]:
    """Return customer rows and the nodes they hang on, sorted; several for a customer with two feeds.

    The third array has one code of `vocabulary.Attachment` for every customer.

    Parameters
    ----------
    feature_id : TextColumn
        Feature of every service row, empty for a network without services.
    ends : int64 array
        Result of `service_ends`.
    named : tuple of int64 arrays
        Result of `named_services`.
    """
    n = len(customers)
    who, service = _by_service_id(customers, xy_m, feature_id, ends, named, joins, notes)
    elsewhere = nearer_services(
        customers, xy_m, feature_id, _places(joins, ends), (who, service), SERVICE_REACH_M, notes
    )
    node = ends[service]
    alone = np.ones(n, dtype=bool)
    alone[who] = False
    alone &= np.isfinite(xy_m).all(axis=1)
    rest = np.flatnonzero(alone)
    if len(ends) and len(rest):
        asked, service = _nearest_services(customers, xy_m, rest, feature_id, ends, joins, notes)
        who, node = np.concatenate([who, asked]), np.concatenate([node, ends[service]])
    elif len(rest):
        near = index.near_two(xy_m[rest], MAIN_REACH_M, TWO_MAINS_M)
        asked = rest[near.point]
        measure = index.measure(xy_m[asked], near.pipe)
        found = nodes_at(course, joins, near.pipe, measure)
        who, node = np.concatenate([who, asked]), np.concatenate([node, found])
    by_what = _by_what(n, named, who, alone, services=bool(len(ends)))
    by_what[elsewhere[by_what[elsewhere] == Attachment.SERVICE_ID]] = Attachment.FAR_SERVICE_ID
    who, node = _unique_pairs(who, node)
    if not len(ends):
        _notice_two_mains(customers, xy_m, who, n, notes)
    notes.add_each(
        "customer-on-no-pipe",
        "customers",
        customers.id,
        np.bincount(who, minlength=n) == 0,
        Severity.WARNING,
        "is on no service and no main",
        "give its service_id, or move it to its service end",
        xy_m,
    )
    return who, node, by_what


def _nearest_services(
    customers: NormalisedTable,
    xy_m: Floats,
    rest: Ints,
    feature_id: TextColumn,
    ends: Ints,
    joins: NodePlaces,
    notes: FindingLog,
) -> tuple[Ints, Ints]:
    """Return customers and the service rows within reach that they may hang on; several where two lie alike.

    Alike is what ends at most `TWO_SERVICES_M` farther away than the nearest one. Who lies on the end of a
    service hangs on that one.
    """
    from scipy.spatial import KDTree  # a network that is kept needs none

    tree = KDTree(_places(joins, ends))
    gap, nearest = (
        np.asarray(found) for found in tree.query(xy_m[rest], k=2, distance_upper_bound=SERVICE_REACH_M)
    )
    found = np.isfinite(gap[:, 0])
    alike = np.minimum(gap[:, 0] + TWO_SERVICES_M, SERVICE_REACH_M) + _ROUNDING_M
    several = np.flatnonzero(found & (gap[:, 0] > SNAP_M) & (gap[:, 1] <= alike))
    who, service = [rest[found]], [nearest[found, 0]]
    said: dict[int, str] = {}
    for at in several.tolist():
        row = int(rest[at])
        near = np.array(tree.query_ball_point(xy_m[row], alike[at]), dtype=np.int64)
        away = np.hypot(*(tree.data[near] - xy_m[row]).T)
        best: dict[str, tuple[float, int]] = {}
        for distance, k in sorted(zip(away.tolist(), near.tolist(), strict=True)):
            # Of a feature drawn in several parts the nearest end is meant.
            best.setdefault(feature_id[k], (distance, k))
        chosen = np.array([k for _, k in best.values()], dtype=np.int64)
        if len(np.unique(ends[chosen])) > 1:
            who.append(np.full(len(chosen), row))
            service.append(chosen)
            said[row] = listed([f"{name} ({distance:.2f} m)" for name, (distance, _) in best.items()])
    notes.add_each(
        "two-services",
        "customers",
        customers.id,
        np.array(sorted(said), dtype=np.int64),
        Severity.WARNING,
        lambda row: (
            f"names no service and lies about as near to services {said[row]}; it counts as fed by each"
        ),
        "record its service",
        xy_m,
    )
    return np.concatenate(who), np.concatenate(service).astype(np.int64)


def _places(joins: NodePlaces, node: Ints) -> Floats:
    return np.column_stack([joins.x_m[node], joins.y_m[node]])


def _by_what(
    n: int, named: tuple[Ints, Ints], who: Ints, alone: NDArray[np.bool_], *, services: bool
) -> NDArray[np.uint8]:
    """Return by what each customer is attached; `alone` are those that no named service was found for."""
    by_what = np.full(n, Attachment.NO_PIPE, dtype=np.uint8)
    by_what[who] = Attachment.SERVICE_ID
    unknown = np.zeros(n, dtype=bool)
    unknown[named[0][named[1] < 0]] = True
    attached = by_what == Attachment.SERVICE_ID
    by_what[attached & unknown & ~alone] = Attachment.PART_OF_SERVICE_IDS
    by_what[attached & alone] = Attachment.NEAREST_SERVICE if services else Attachment.NEAREST_MAIN
    return by_what


def _notice_two_mains(customers: NormalisedTable, xy_m: Floats, who: Ints, n: int, notes: FindingLog) -> None:
    notes.add_each(
        "two-mains",
        "customers",
        customers.id,
        np.bincount(who, minlength=n) > 1,
        Severity.WARNING,
        f"has several candidate mains within {TWO_MAINS_M:g} m; it counts as fed by each",
        "record its service",
        xy_m,
    )


def _unique_pairs(who: Ints, node: Ints) -> tuple[Ints, Ints]:
    order = np.lexsort([node, who])
    who, node = who[order], node[order]
    new = np.ones(len(who), dtype=bool)
    new[1:] = (np.diff(who) != 0) | (np.diff(node) != 0)
    return who[new], node[new]


def named_services(customers: NormalisedTable, feature_id: TextColumn) -> tuple[Ints, Ints]:
    """Return customer row and service row (-1 for an unknown one) of every service that a customer names."""
    who, names = _one_a_row(customers.text["service_id"].arrow)
    given = ~np.asarray(pc.equal(names, "").to_numpy(zero_copy_only=False), dtype=bool)
    if not given.all():
        who, names = who[given], names.filter(pa.array(given))
    return who, _numbers(pc.fill_null(pc.index_in(names, value_set=feature_id.arrow), -1))


def _by_service_id(
    customers: NormalisedTable,
    xy_m: Floats,
    feature_id: TextColumn,
    ends: Ints,
    named: tuple[Ints, Ints],
    joins: NodePlaces,
    notes: FindingLog,
) -> tuple[Ints, Ints]:
    who, row = named
    notes.add_each(
        "unknown-service",
        "customers",
        customers.id,
        np.unique(who[row < 0]),
        Severity.WARNING,
        "names a service that is not in the services layer or not live",
        "correct service_id",
        xy_m,
    )
    who, row = who[row >= 0], row[row >= 0]
    if _all_different(feature_id):
        return who, row
    parts = pc.value_counts(feature_id.arrow)
    split = parts.field("values").filter(pc.greater(parts.field("counts"), 1))
    for place in np.flatnonzero(
        pc.is_in(feature_id.arrow.take(pa.array(row)), value_set=split).to_numpy(zero_copy_only=False)
    ).tolist():
        # A feature drawn in several parts: the end nearest to the customer is meant.
        name = feature_id.arrow[int(row[place])]
        rows = np.flatnonzero(pc.equal(feature_id.arrow, name).to_numpy(zero_copy_only=False))
        gap = np.hypot(
            joins.x_m[ends[rows]] - xy_m[who[place], 0], joins.y_m[ends[rows]] - xy_m[who[place], 1]
        )
        row[place] = rows[int(np.argmin(np.nan_to_num(gap)))]
    return who, row


def _one_a_row(texts: Any) -> tuple[Ints, Any]:
    """Return row and text of each member of lists parted by semicolons."""
    if not pc.any(pc.match_substring(texts, ";")).as_py():
        return np.arange(len(texts)), texts
    lists = pc.split_pattern(texts, ";")
    return _numbers(pc.list_parent_indices(lists)), pc.utf8_trim_whitespace(pc.list_flatten(lists))


def _all_different(ids: TextColumn) -> bool:
    """Whether sorted ids follow each other without repeats, as they do where no feature has several parts."""
    array = ids.arrow
    return len(array) < 2 or bool(pc.all(pc.less(array[:-1], array[1:])).as_py())


def _numbers(array: Any) -> Ints:
    return np.asarray(array.to_numpy(zero_copy_only=False), dtype=np.int64)
