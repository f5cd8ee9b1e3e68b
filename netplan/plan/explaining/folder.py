"""What a plan folder holds about one option, looked up by id, with words for where each number stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

from netplan.errors import BadInputError
from netplan.graph.components import component_labels
from netplan.hydraulics import FlowConditions
from netplan.plan.flowcase import flow_conditions
from netplan.plan.model import Option, Plan
from netplan.reference.gas import Gas
from netplan.rules import Rules, checked_rules, default_rules, default_rules_text
from netplan.sources import How, source, sources

__all__ = ["OPEN", "Folder", "one_place", "open_folder", "rule_bore_mm", "rule_origin", "source_line"]

BORE_DIGIT_MM: Final = 0.0501
OPEN: Final = ("live", "fed", "stranded")
_LAYERS: Final = {
    "pipes": "layer pipe_id from_m to_m state length_m bore_mm roughness_mm loss_coefficient from_node "
    "to_node flow_m3h",
    "nodes": "node height_m pressure_mbar pressure_before_mbar",
    "stations": "station_id node outlet_mbar flow_m3h",
    "bypasses": "bypass_id from_node to_node length_m bore_mm parallel roughness_mm flow_m3h",
    "customers": "customer_id effect category meters demand_m3h nodes node",
}


@dataclass(slots=True, eq=False)
class Folder:
    """One option of a plan folder.

    Parameters
    ----------
    plan : Plan
    option : Option
    rules : Rules
        The rules it was planned by, as plan.json states them.
    pipes, nodes, stations, bypasses, customers : table
        Rows of plan.gpkg for this option.
    """

    plan: Plan
    option: Option
    rules: Rules
    pipes: Any
    nodes: Any
    stations: Any
    bypasses: Any
    customers: Any
    _node_row: dict[int, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._node_row = {int(node): row for row, node in enumerate(self.nodes.node)}

    @property
    def conditions(self) -> FlowConditions:
        """Gas and ground temperature."""
        return flow_conditions(self.rules)

    @property
    def gas(self) -> Gas:
        """The gas of the rules."""
        return self.conditions.gas

    def node_value(self, node: int, column: str) -> float:
        """Return a number of the layer nodes; NaN where it is not known."""
        row = self._node_row.get(int(node))
        return float("nan") if row is None else float(self.nodes[column].iloc[row])

    @property
    def place(self) -> str:
        """Where the option stands in plan.json."""
        return f"plan.json, option {self.option.rank}"


def one_place(folder: Folder) -> dict[int, int]:
    """Return for every node the least node that open pieces without any length join it with."""
    pipes = folder.pipes
    flat = pipes[(pipes.length_m == 0.0) & (pipes.loss_coefficient == 0.0) & pipes.state.isin(OPEN)]
    nodes = np.unique(np.concatenate([pipes.from_node, pipes.to_node, folder.nodes.node]).astype(np.int64))
    a, b = (np.searchsorted(nodes, flat[end].to_numpy(np.int64)) for end in ("from_node", "to_node"))
    label, _ = component_labels(len(nodes), a, b)
    first: dict[int, int] = {}
    return {int(node): first.setdefault(int(label[row]), int(node)) for row, node in enumerate(nodes)}


def open_folder(plan: Plan, layers: Mapping[str, Any], rank: int) -> Folder:
    """Take one option out of a plan folder.

    Raises
    ------
    BadInputError
        When the plan has no such option, or its layers lack what figures are explained from.
    """
    option = next((option for option in plan.options if option.rank == rank), None)
    if option is None:
        raise BadInputError(f"--option {rank}: the plan has {len(plan.options)} options; choose one of them")
    for name, columns in _LAYERS.items():
        missing = [c for c in columns.split() if name not in layers or c not in layers[name]]
        if missing:
            raise BadInputError(
                f"plan.gpkg: layer {name} lacks {missing[0]!r}, as in plans of an older version; plan again"
            )
    rows = {name: layers[name][layers[name].option == rank].reset_index(drop=True) for name in _LAYERS}
    return Folder(plan=plan, option=option, rules=checked_rules(plan.rules, "plan.json: rules"), **rows)


def source_line(key: str) -> str:
    """Return a source as one line, its key first."""
    return f"{key}: {source(key).line()}"


def rule_bore_mm(folder: Folder, bore_mm: float) -> float:
    """Return the bore of the rules' list that plan.json states to 0.1 mm [mm]."""
    near = [bore for bore in folder.rules.bypass.bores_mm if abs(bore - bore_mm) <= BORE_DIGIT_MM]
    return near[0] if len(near) == 1 else bore_mm


def rule_origin(rules: Rules, key: str) -> str:
    """Return where a rule's value comes from: the shipped rules' own source, or the operator's file.

    Parameters
    ----------
    rules : Rules
        Those of the plan.
    key : str
        ``"table.key"`` as in the rules file.
    """
    table, name = key.split(".")
    if getattr(getattr(rules, table), name) != getattr(getattr(default_rules(), table), name):
        return f"rule {key}, the operator's own; plan.json, rules"
    return f"rule {key} as shipped: {_shipped_note(table, name)}"


def _shipped_note(table: str, name: str) -> str:
    """Return the comment behind a key of the shipped rules, its source key spelt out where it is one."""
    inside = False
    for line in default_rules_text().splitlines():
        text = line.strip()
        if text.startswith("["):
            inside = text == f"[{table}]"
        elif inside and text.partition("=")[0].strip() == name:
            return _spelt_out(text.rpartition("# ")[2])
    return "without a note"


def _spelt_out(note: str) -> str:
    for key, known in sources().items():
        if f" {key}" in note and known.how not in (How.EXAMPLE, How.OWN):
            return f"{note} [{known.line()}]"
    return note
