"""``gas-netplan demo``: the main job on the sample network."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from netplan.cli.options import Words

if TYPE_CHECKING:
    from netplan.planning.request import PlanRequest


def command(
    out: Annotated[Path, typer.Option(help="Plan folder to make; replaces an earlier one.")] = Path(
        "plan-demo"
    ),
    words: Words = None,
    save_network: Annotated[
        Path | None,
        typer.Option(help="Only save the sample network as this GeoPackage, to try other commands."),
    ] = None,
) -> None:
    """Plan a repair in the sample town."""
    if save_network is not None:
        save_sample(save_network)
        return
    from netplan.cli.plan import run_plan
    from netplan.cli.sample import DEMO_WORK, sample_network
    from netplan.cli.terminal import console
    from netplan.network.work_part import WorkPart
    from netplan.outputs.output_folders import check_target
    from netplan.outputs.reader_choices import Choices, check_choices

    choices = Choices(words=words)
    check_choices(choices)
    network, target = sample_network(), check_target(out, overwrite=True)

    def request() -> PlanRequest:
        from netplan.planning.request import PlanRequest
        from netplan.readers import read_network
        from netplan.rules import read_rules

        return PlanRequest(
            network=read_network(network),
            parts=(WorkPart(*DEMO_WORK),),
            rules=read_rules(None),
        )

    run_plan(request, target, choices=choices)
    terminal = console()
    terminal.print(f"Map:  {(out / 'map.html').resolve()}", soft_wrap=True, markup=False)
    terminal.print(f"Plan: {(out / 'plan.json').resolve()}", soft_wrap=True, markup=False)


def save_sample(path: Path) -> None:
    """Save the sample network as a file that is not there yet.

    Raises
    ------
    BadInputError
        When the file is there already, or cannot be written.
    """
    from netplan.cli.sample import sample_network
    from netplan.core.errors import BadInputError
    from netplan.outputs.atomic_writes import write_file

    source = sample_network()
    if path.exists():
        raise BadInputError(f"--save-network {path}: exists already; name another file, or remove it")
    write_file(path, lambda part: part.write_bytes(source.read_bytes()), suffix=".gpkg")
    typer.echo(f"Network: {path.resolve()}")
