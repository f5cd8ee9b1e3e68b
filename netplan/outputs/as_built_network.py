"""A network with the fittings that a plan leaves behind, or these fittings alone, as a new GeoPackage."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import geopandas as gpd
import numpy as np
import pyarrow as pa
import shapely

from netplan.core.errors import BadInputError, shown
from netplan.network.build import build_network
from netplan.network.linear_reference import lines_between
from netplan.network.model import Network
from netplan.network.normalise import column_text
from netplan.network.projection import WorkingCrs, working_crs
from netplan.network.raw_layers import RawLayer, RawLayers, as_objects
from netplan.network.text_column import TextColumn
from netplan.outputs.layers.as_built_fittings import AS_BUILT_COLUMNS, AS_BUILT_LAYER, free_id
from netplan.outputs.layers.geopackage import read_plan_layers
from netplan.outputs.repaired_network import write_network_layers
from netplan.planfile.plan_json import option_of_rank, read_plan

__all__ = ["AsBuilt", "as_built_fittings", "write_as_built"]

_ON_MAIN_M: Final = 0.05
"""A place farther from its main than this is not on it: the default snap distance of the network [m]."""
_SAME_M: Final = 2e-3
"""Fittings of one id nearer than this are one (own) [m]."""
_TEXTS: Final = ("id", "system", "kind", "main_id", "note")


@dataclass(frozen=True, slots=True)
class AsBuilt:
    """What was written: the file, how many fittings were added, and how many were recorded already."""

    path: Path
    added: int
    recorded: int


def as_built_fittings(plan_folder: Path, option: int = 1) -> gpd.GeoDataFrame:
    """Return the squeeze places and capped outlets that an option leaves behind.

    Parameters
    ----------
    plan_folder : Path
        A plan folder; nothing else is read.
    option : int
        Rank of the option.

    Returns
    -------
    GeoDataFrame
        One row a fitting, in the plan's working CRS: ``id``, ``system`` and ``kind`` (``squeeze_mark`` or
        ``tapping_tee``) as in the layer ``fittings`` of the input contract, then ``main_id``, ``chainage_m``
        [m, true length], ``size_mm`` (bore of the outlet [mm]; NaN where the plan states none), ``option``
        and ``note``. Places are as planned, not as surveyed.

    Raises
    ------
    BadInputError
        When there is no such plan or option, or an older version made the folder.
    """
    option_of_rank(read_plan(plan_folder), option)
    rows = read_plan_layers(plan_folder).get(AS_BUILT_LAYER)
    where = f"{plan_folder / 'plan.gpkg'}: layer {AS_BUILT_LAYER}"
    if rows is None:
        raise BadInputError(f"{where} is missing; make the plan again")
    missing = [name for name in (*AS_BUILT_COLUMNS, "geometry") if name not in rows]
    if missing:
        raise BadInputError(f"{where} lacks {missing[0]!r}; make the plan again")
    return rows[rows.option == option].reset_index(drop=True)


def write_as_built(
    plan_folder: Path,
    raw: RawLayers,
    out: Path,
    *,
    option: int = 1,
    only_new: bool = False,
    changed_network: bool = False,
) -> AsBuilt:
    """Write a network with the fittings that an option leaves behind into a new GeoPackage.

    Parameters
    ----------
    plan_folder : Path
        A plan folder; it is only read.
    raw : RawLayers
        The network that the plan was made for, as `read_layers` returns it.
    out : Path
        The GeoPackage to make: the network's layers in its own CRS and in the words of the input contract.
    option : int
        Rank of the option that was carried out.
    only_new : bool
        Write the layer ``fittings`` alone, and in it the new rows alone.
    changed_network : bool
        Take a network that is no longer the one that was planned on. Every place must still lie on the main
        of its id.

    Raises
    ------
    BadInputError
        When there is no such plan or option, the network is another one, a place is on no main of it, or the
        file exists or cannot be written.
    BadNetworkError
        When the layers break the input contract.
    """
    rows, plan = as_built_fittings(plan_folder, option), read_plan(plan_folder)
    network = build_network(raw.layers, raw.source, set_aside=True, findings=raw.findings)
    if network.content_sha256 != plan.network.content_sha256 and not changed_network:
        raise BadInputError(
            f"{raw.source}: is not the network that {plan_folder} was planned on; give that one, or "
            "--changed-network when it has been edited since"
        )
    if rows.crs is not None and not rows.crs.equals(network.crs):
        rows = rows.to_crs(network.crs)
    working = working_crs({name: layer for name, layer in raw.layers.items() if len(layer) or layer.crs})
    on_mains = _on_their_mains(rows, network)
    old = raw.layers.get("fittings")
    ids, places = _recorded(old, working)
    new, recorded = _new_rows(rows.assign(geometry=on_mains), ids, places)
    layer = _as_raw(new, working, raw["mains"].crs if old is None or old.crs is None else old.crs)
    if only_new:
        write_network_layers({"fittings": layer}, out, private=False)
    else:
        write_network_layers({**raw.layers, "fittings": _joined(old, layer)}, out)
    return AsBuilt(out, len(new), recorded)


def _on_their_mains(rows: gpd.GeoDataFrame, network: Network) -> Any:
    """Return the places moved onto their mains, which takes less than a millimetre on the network planned on.

    Raises
    ------
    BadInputError
        When a main is gone or lies elsewhere.
    """
    n_mains = network.pipes.n_mains
    pipe = np.array([network.pipes.id.find(name, 0, n_mains) for name in rows.main_id], dtype=np.int64)
    if (pipe < 0).any():
        gone = rows[pipe < 0].iloc[0]
        raise BadInputError(
            f"{network.source}: has no live main {shown(gone.main_id)}, where {shown(gone.id)} was planned; "
            "place it by hand"
        )
    lines = lines_between(network, pipe, np.zeros(len(pipe)), network.pipes.length_m[pipe])
    points = np.asarray(rows.geometry.array, dtype=object)
    far = np.asarray(shapely.distance(lines, points)) / network.scale
    off = np.flatnonzero(~(far <= _ON_MAIN_M))
    if len(off):
        row = rows.iloc[int(off[0])]
        raise BadInputError(
            f"{network.source}: main {shown(row.main_id)} lies {far[off[0]]:.2f} m beside the place of "
            f"{shown(row.id)}; it was drawn anew since: place it by hand"
        )
    return shapely.line_interpolate_point(lines, shapely.line_locate_point(lines, points))


def _recorded(old: RawLayer | None, working: WorkingCrs) -> tuple[TextColumn, Any]:
    """Return the ids of the recorded fittings and their places in the working CRS."""
    if old is None or not len(old) or "id" not in old.columns.column_names:
        return TextColumn(), np.zeros(0, dtype=object)
    return column_text(old.columns["id"]), working.geometry(as_objects(old.geometry))


def _new_rows(rows: gpd.GeoDataFrame, ids: TextColumn, places: Any) -> tuple[gpd.GeoDataFrame, int]:
    """Return the rows that are not recorded at their places, with ids of their own, and how many are."""
    keep, names = [], []
    for place, (name, point) in enumerate(zip(rows.id, rows.geometry, strict=True)):
        at = ids.find(name)
        if at >= 0 and places[at] is not None and shapely.distance(places[at], point) <= _SAME_M:
            continue
        keep.append(place)
        names.append(free_id(str(name), ids))
    return rows.iloc[keep].assign(id=names), len(rows) - len(keep)


def _as_raw(rows: gpd.GeoDataFrame, working: WorkingCrs, crs: Any) -> RawLayer:
    """Return rows in the working CRS as a layer in the CRS of the source."""
    columns = pa.table(
        {
            name: pa.array(
                [None if value is None or value != value else value for value in rows[name].tolist()],
                type=pa.string() if name in _TEXTS else pa.int64() if name == "option" else pa.float64(),
            )
            for name in AS_BUILT_COLUMNS
        }
    )
    shapes = shapely.transform(np.asarray(rows.geometry.array, dtype=object), working.source_coordinates)
    return RawLayer("fittings", columns, np.asarray(shapes, dtype=object), crs)


def _joined(old: RawLayer | None, new: RawLayer) -> RawLayer:
    """Return two layers as one; a column that one of them lacks is empty there."""
    if old is None or not len(old):
        return new
    names = old.columns.column_names
    known = pa.table(
        {
            name: column_text(old.columns[name]).arrow if name in _TEXTS else old.columns[name]
            for name in names
        }
    )
    both = pa.concat_tables([known, new.columns], promote_options="permissive")
    shapes = np.concatenate([as_objects(old.geometry), as_objects(new.geometry)])
    return RawLayer("fittings", both, shapes, old.crs)
