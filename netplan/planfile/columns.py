"""The columns of the layers of plan.gpkg that hold a solved state, in order: one list to write and read by.

A column has the name of the field of the state it holds; `option` is the rank of the option. Those marked
`derived` or `packed` are worked out when written: a pressure at an end of a pipe is that of its node, a list
of nodes is one text.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Final

__all__ = ["BYPASSES", "CUSTOMERS", "NODES", "PIPES", "STATIONS", "ColumnKind", "LayerColumn"]


class ColumnKind(Enum):
    """What a column of a layer holds."""

    TEXT = "text, empty where missing"
    TEXT_OR_NULL = "text, null where missing"
    FLAG = "true or false"
    INT32 = "whole number of 32 bits"
    INT64 = "whole number of 64 bits"
    FLOAT = "number, null where not known"
    PACKED = "worked out when written, taken apart when read"
    DERIVED = "worked out when written, not read"


@dataclass(frozen=True, slots=True)
class LayerColumn:
    """A column of a layer.

    Parameters
    ----------
    name : str
    kind : ColumnKind
    """

    name: str
    kind: ColumnKind


def _columns(*parts: tuple[ColumnKind, str]) -> tuple[LayerColumn, ...]:
    return tuple(LayerColumn(name, kind) for kind, names in parts for name in names.split())


PIPES: Final = _columns(
    (ColumnKind.INT32, "option"),
    (ColumnKind.PACKED, "layer"),
    (ColumnKind.TEXT, "pipe_id"),
    (ColumnKind.FLOAT, "from_m to_m"),
    (ColumnKind.PACKED, "state"),
    (ColumnKind.TEXT, "system"),
    (ColumnKind.TEXT_OR_NULL, "valve_id"),
    (ColumnKind.FLOAT, "bore_mm roughness_mm loss_coefficient length_m"),
    (ColumnKind.INT32, "from_node to_node"),
    (ColumnKind.FLOAT, "flow_m3h"),
    (ColumnKind.DERIVED, "pressure_from_mbar pressure_to_mbar"),
    (ColumnKind.FLOAT, "od_mm"),
    (ColumnKind.TEXT, "street record_date"),
)
NODES: Final = _columns(
    (ColumnKind.INT32, "option node"),
    (ColumnKind.FLOAT, "height_m demand_m3h pressure_mbar pressure_before_mbar"),
)
STATIONS: Final = _columns(
    (ColumnKind.INT32, "option"),
    (ColumnKind.TEXT, "station_id"),
    (ColumnKind.INT32, "node"),
    (ColumnKind.FLOAT, "outlet_mbar max_outlet_mbar capacity_m3h flow_m3h"),
    (ColumnKind.INT32, "sensing_node"),
)
BYPASSES: Final = _columns(
    (ColumnKind.INT64, "option"),
    (ColumnKind.TEXT, "bypass_id kind from_main"),
    (ColumnKind.FLOAT, "from_chainage_m"),
    (ColumnKind.TEXT, "to_main"),
    (ColumnKind.FLOAT, "to_chainage_m"),
    (ColumnKind.INT64, "from_node to_node"),
    (ColumnKind.FLOAT, "length_m bore_mm"),
    (ColumnKind.INT64, "parallel"),
    (ColumnKind.FLOAT, "roughness_mm loss_coefficient flow_m3h drop_mbar velocity_m_s"),
    (ColumnKind.FLOAT, "pressure_from_mbar pressure_to_mbar minimum_air_temp_c"),
)
CUSTOMERS: Final = _columns(
    (ColumnKind.INT32, "option"),
    (ColumnKind.TEXT, "customer_id"),
    (ColumnKind.TEXT_OR_NULL, "effect cause kept_by"),
    (ColumnKind.FLAG, "standby"),
    (ColumnKind.TEXT, "address street number postcode category priority language"),
    (ColumnKind.INT32, "meters"),
    (ColumnKind.FLOAT, "demand_m3h pressure_mbar"),
    (ColumnKind.INT32, "node"),
    (ColumnKind.FLOAT, "annual_kwh peak_kw"),
    (ColumnKind.INT32, "part"),
    (ColumnKind.PACKED, "nodes"),
    (ColumnKind.FLOAT, "pressure_before_mbar"),
)
