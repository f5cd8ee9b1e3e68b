"""The folder of a renewal in stages: there whole, or not there at all."""

from __future__ import annotations

from pathlib import Path

from netplan.outputs.layers import write_layers
from netplan.outputs.notices.table import guarded
from netplan.outputs.stages.layers import stage_layers, stage_table
from netplan.outputs.stages.map import stage_map
from netplan.outputs.targets import check_stages_target
from netplan.outputs.whole_folder import Target, write_folder
from netplan.staging import Staging

__all__ = ["write_stages_folder"]


def write_stages_folder(
    staging: Staging, out: Path, *, overwrite: bool = False, target: Target | None = None
) -> Path:
    """Write the table, the layers and a map of every stage into one folder.

    `target` is what `check_stages_target` returned before the stages were computed.

    Raises
    ------
    BadInputError
        When the target exists and may not be replaced, or cannot be written.
    """
    place = target or check_stages_target(out, overwrite=overwrite)
    layers = stage_layers(staging)
    table = stage_table(staging)
    table["work"] = [guarded(text) for text in table["work"]]

    def make(part: Path) -> None:
        table.to_csv(part / "stages.csv", index=False, encoding="utf-8-sig", lineterminator="\r\n")
        write_layers(layers, part / "stages.gpkg")
        for number in range(1, len(staging.stages) + 1):
            text = stage_map(staging, layers, number)
            (part / f"stage-{number}.html").write_text(text, encoding="utf-8")

    return write_folder(place, make)
