"""What a mapping costs: a street grid in a company's words, read by its mapping and by its own names.

``python -m tests.benchmarks.mapped_grids 270000 FOLDER`` writes the grid unless it is there and prints both.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

import pandas as pd

from netplan.readers import read_layers
from netplan.readers.mapping import parse_mapping
from tests.benchmarks.layer_grids import grid_layers

MAPPING = """
[[mains]]
source = "leitung"
where = [{ column = "art", is = "VL" }]
size = "nennweite"

[mains.columns]
id = { from = "nr", prefix = "M-" }
material = { from = "werkstoff", values = { PH = "PE100", PM = "PE80" } }

[[services]]
source = "leitung"
where = [{ column = "art", is = "HA" }]
size = "nennweite"
columns = { id = "nr", material = { from = "werkstoff", values = { PM = "PE80" } } }

[[customers]]
source = "zaehler"

[customers.columns]
id = "id"
address = "address"
annual_kwh = { from = "mwh", unit = "MWh" }
service_id = "service_id"

[[regulators]]
source = "regler"
columns = { id = "id", outlet_mbar = { from = "bar", unit = "bar" }, max_outlet_mbar = "max_outlet_mbar" }
"""


def _pipes(frame: Any, kind: str, words: dict[str, str]) -> Any:
    size = "d " + frame["od_mm"].astype(int).astype(str) + " SDR " + frame["sdr"].map("{:g}".format)
    return frame[["geometry"]].assign(
        nr=frame["id"], art=kind, werkstoff=frame["material"].replace(words), nennweite=size
    )


def write_grids(n_pipes: int, folder: Path) -> None:
    """Write the grid twice: by the contract's names, and as a company would."""
    layers = grid_layers(n_pipes)
    native, own = folder / "native", folder / "own"
    for place in (native, own):
        place.mkdir(parents=True)
    for name, frame in layers.items():
        frame.to_parquet(native / f"{name}.parquet", index=False)
    pipes = [
        _pipes(layers["mains"], "VL", {"PE100": "PH", "PE80": "PM"}),
        _pipes(layers["services"], "HA", {"PE80": "PM"}),
    ]
    pd.concat(pipes, ignore_index=True).to_parquet(own / "leitung.parquet", index=False)
    customers = layers["customers"].assign(mwh=layers["customers"]["annual_kwh"] / 1000.0)
    customers.drop(columns="annual_kwh").to_parquet(own / "zaehler.parquet", index=False)
    stations = layers["regulators"].assign(bar=layers["regulators"]["outlet_mbar"] / 1000.0)
    stations.drop(columns="outlet_mbar").to_parquet(own / "regler.parquet", index=False)


def main(n_pipes: int, folder: Path) -> None:
    """Time both ways, the best of three."""
    if not folder.exists():
        write_grids(n_pipes, folder)
    mapping = parse_mapping(MAPPING)
    for name, given in (("native", None), ("own", mapping)):
        best = (1e9, 1e9)
        for _ in range(3):
            start, work = time.perf_counter(), time.process_time()
            raw = read_layers(folder / name, mapping=given)
            best = min(best, (time.process_time() - work, time.perf_counter() - start))
        count = {layer: len(part) for layer, part in raw.layers.items()}
        print(  # noqa: T201
            f"{name}: {count}: {best[1]:.2f} s ({best[0]:.2f} s of processor), {len(raw.findings)} findings"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2]))
