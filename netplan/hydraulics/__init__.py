"""Steady flow of gas in one pipe and in whole networks."""

from netplan.hydraulics.conditions import FlowConditions, FlowGas
from netplan.hydraulics.counting import CountedSolver, SolutionCount
from netplan.hydraulics.friction import friction_factor
from netplan.hydraulics.linear import LinearSolver, default_linear_solver, ldl_solver, lu_solver
from netplan.hydraulics.model import FlowLinks, FlowNetwork, FlowState, PartStatus, StationState
from netplan.hydraulics.pipe import bore_for, pipe_drop, pipe_findings, pipe_flow, pipe_velocity
from netplan.hydraulics.rim import Rim, RimSolver, state_of_part
from netplan.hydraulics.solver import FlowSolver, datum_height_m, solve
from netplan.hydraulics.solving import NetworkSolver
from netplan.hydraulics.validity import state_findings

__all__ = [
    "CountedSolver",
    "FlowConditions",
    "FlowGas",
    "FlowLinks",
    "FlowNetwork",
    "FlowSolver",
    "FlowState",
    "LinearSolver",
    "NetworkSolver",
    "PartStatus",
    "Rim",
    "RimSolver",
    "SolutionCount",
    "StationState",
    "bore_for",
    "datum_height_m",
    "default_linear_solver",
    "friction_factor",
    "ldl_solver",
    "lu_solver",
    "pipe_drop",
    "pipe_findings",
    "pipe_flow",
    "pipe_velocity",
    "solve",
    "state_findings",
    "state_of_part",
]
