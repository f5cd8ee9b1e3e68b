"""Steady flow of gas in one pipe and in whole networks."""

from netplan.hydraulics.boundary import Boundary, BoundarySolver, state_of_part
from netplan.hydraulics.flow_conditions import FlowConditions, FlowGas
from netplan.hydraulics.flow_network import FlowLinks, FlowNetwork, FlowState, PartStatus, StationState
from netplan.hydraulics.friction import friction_factor
from netplan.hydraulics.linear_system import LinearSolver, default_linear_solver, ldl_solver, lu_solver
from netplan.hydraulics.solver import FlowSolver, datum_height_m
from netplan.hydraulics.solver_protocol import CountedSolver, NetworkSolver, SolutionCount
from netplan.hydraulics.starved_demand import resolve_without_starved
from netplan.hydraulics.validity_limits import LIMITS, Limit, links_beyond, transition_allowance_pa

__all__ = [
    "LIMITS",
    "Boundary",
    "BoundarySolver",
    "CountedSolver",
    "FlowConditions",
    "FlowGas",
    "FlowLinks",
    "FlowNetwork",
    "FlowSolver",
    "FlowState",
    "Limit",
    "LinearSolver",
    "NetworkSolver",
    "PartStatus",
    "SolutionCount",
    "StationState",
    "datum_height_m",
    "default_linear_solver",
    "friction_factor",
    "ldl_solver",
    "links_beyond",
    "lu_solver",
    "resolve_without_starved",
    "state_of_part",
    "transition_allowance_pa",
]
