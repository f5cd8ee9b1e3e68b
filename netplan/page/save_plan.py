"""Saving what the page shows as the usual plan folder: the same as the equal command line makes."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

from netplan.core.errors import BadInputError, quoted
from netplan.network.model import Network
from netplan.outputs.keep_out_file import KEEP_OUT_FILE, keep_out_text
from netplan.outputs.output_folders import check_target
from netplan.outputs.plan_folder import write_plan_folder
from netplan.page.page_orders import PageOrders, areas_of, request_of
from netplan.page.planning_worker import NetworkSource
from netplan.planning.make_plan import make_plan
from netplan.rules import read_rules

__all__ = ["checked_name", "save_orders"]

NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _-]{0,60}")
ALL_OPTIONS: Final = 50


def checked_name(name: str) -> str:
    """Return a name of a plan or session that is fit for a file.

    Raises
    ------
    BadInputError
        When it is not.
    """
    if not NAME.fullmatch(name):
        raise BadInputError(f"name: {quoted(name)} cannot be a name; write letters, digits, spaces, - and _")
    return name


def save_orders(
    network: Network, source: NetworkSource, orders: PageOrders, plans: Path, name: str
) -> tuple[Path, list[str]]:
    """Plan some orders in full and write the folder; return it, and what must be said of its letters.

    Parameters
    ----------
    network : Network
    source : NetworkSource
    orders : PageOrders
    plans : Path
        Folder that it becomes a folder of.
    name : str
        Letters, digits, blanks, hyphens and underlines.

    Raises
    ------
    BadInputError
        When the name is unfit, or a folder of that name is there.
    NoPlanError
        When there is no plan.
    """
    target = check_target(plans / checked_name(name), can_overwrite=False)
    result = make_plan(
        request_of(orders, network, read_rules(source.rules), options=ALL_OPTIONS, weather=True)
    )
    areas = areas_of(orders)
    more_files = {KEEP_OUT_FILE: keep_out_text(areas)} if areas else {}
    lines: list[str] = []
    write_plan_folder(result, target.out, target=target, more_files=more_files, warn=lines.append)
    return target.out, lines
