"""``gas-netplan as-built``: what a plan leaves on the mains, for the records."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from netplan.cli.exit_codes import from_plan_folder
from netplan.cli.options import AnySize, MappingFile, Network, PlanFolder, Rank, check_inputs, mapping_given
from netplan.core.errors import BadInputError
from netplan.core.input_paths import check_plan_folder


def command(
    plan_dir: PlanFolder,
    network: Network,
    out: Annotated[Path, typer.Option(help="GeoPackage to make.")],
    option: Rank = 1,
    only_new: Annotated[
        bool, typer.Option("--only-new", help="Write only the new rows of the layer fittings.")
    ] = False,
    changed_network: Annotated[
        bool,
        typer.Option(
            "--changed-network",
            help="Accept a network edited since the plan; each place must still lie on its main.",
        ),
    ] = False,
    mapping: MappingFile = None,
    any_size: AnySize = False,
) -> None:
    """Add what a plan leaves on the mains to its network.

    That is squeeze places and capped outlets; the next plan keeps clear of them. Places are as planned:
    correct them from the survey.
    """
    check_inputs(network, texts=(mapping,), polygons=())
    check_plan_folder(plan_dir)
    if out.exists() or out.is_symlink():
        raise BadInputError(f"{out}: exists already; choose another name")

    from netplan.cli.terminal import console
    from netplan.outputs.as_built_network import write_as_built
    from netplan.readers import open_source, read_layers
    from netplan.readers.sources.file_limits import LIMITS, UNLIMITED

    source = open_source(network, UNLIMITED if any_size else LIMITS)
    raw = read_layers(source, mapping=mapping_given(mapping))
    with from_plan_folder(plan_dir):
        written = write_as_built(
            plan_dir, raw, out, option=option, only_new=only_new, changed_network=changed_network
        )
    from netplan.outputs.terminal.wrapped_lines import print_lines

    terminal = console()
    there = f", {written.recorded} recorded already" if written.recorded else ""
    said = (
        f"{written.added} fittings of option {option} added{there}; places and kinds are as planned: correct "
        "them from the survey before you take them into the records"
    )
    print_lines(terminal, [f"Written: {written.path.resolve()}", said])
