"""The columns of the layers of plan.gpkg that hold a solved state, in order: one list to write and read by.

A column has the name of the field of the state it holds; `option` is the rank of the option. Those marked
`derived` or `packed` are worked out when written: a pressure at an end of a pipe is that of its node, a list
of nodes is one text.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Final

__all__ = ["BYPASSES", "CUSTOMERS", "NODES", "PIPES", "STATIONS", "Column", "Kind"]


class Kind(Enum):
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
class Column:
    """A column of a layer.

    Parameters
    ----------
    name : str
    kind : Kind
    """

    name: str
    kind: Kind


def _columns(*parts: tuple[Kind, str]) -> tuple[Column, ...]:
    return tuple(Column(name, kind) for kind, names in parts for name in names.split())


PIPES: Final = _columns(
    (Kind.INT32, "option"),
    (Kind.PACKED, "layer"),
    (Kind.TEXT, "pipe_id"),
    (Kind.FLOAT, "from_m to_m"),
    (Kind.PACKED, "state"),
    (Kind.TEXT, "system"),
    (Kind.TEXT_OR_NULL, "valve_id"),
    (Kind.FLOAT, "bore_mm roughness_mm loss_coefficient length_m"),
    (Kind.INT32, "from_node to_node"),
    (Kind.FLOAT, "flow_m3h"),
    (Kind.DERIVED, "pressure_from_mbar pressure_to_mbar"),
    (Kind.FLOAT, "od_mm"),
    (Kind.TEXT, "street record_date"),
)
NODES: Final = _columns(
    (Kind.INT32, "option node"),
    (Kind.FLOAT, "height_m demand_m3h pressure_mbar pressure_before_mbar"),
)
STATIONS: Final = _columns(
    (Kind.INT32, "option"),
    (Kind.TEXT, "station_id"),
    (Kind.INT32, "node"),
    (Kind.FLOAT, "outlet_mbar max_outlet_mbar capacity_m3h flow_m3h"),
    (Kind.INT32, "sensing_node"),
)
BYPASSES: Final = _columns(
    (Kind.INT64, "option"),
    (Kind.TEXT, "bypass_id kind from_main"),
    (Kind.FLOAT, "from_chainage_m"),
    (Kind.TEXT, "to_main"),
    (Kind.FLOAT, "to_chainage_m"),
    (Kind.INT64, "from_node to_node"),
    (Kind.FLOAT, "length_m bore_mm"),
    (Kind.INT64, "parallel"),
    (Kind.FLOAT, "roughness_mm loss_coefficient flow_m3h drop_mbar velocity_m_s"),
    (Kind.FLOAT, "pressure_from_mbar pressure_to_mbar minimum_air_temp_c"),
)
CUSTOMERS: Final = _columns(
    (Kind.INT32, "option"),
    (Kind.TEXT, "customer_id"),
    (Kind.TEXT_OR_NULL, "effect cause kept_by"),
    (Kind.FLAG, "standby"),
    (Kind.TEXT, "address street number postcode category priority language"),
    (Kind.INT32, "meters"),
    (Kind.FLOAT, "demand_m3h pressure_mbar"),
    (Kind.INT32, "node"),
    (Kind.FLOAT, "annual_kwh peak_kw"),
    (Kind.INT32, "part"),
    (Kind.PACKED, "nodes"),
    (Kind.FLOAT, "pressure_before_mbar"),
)
