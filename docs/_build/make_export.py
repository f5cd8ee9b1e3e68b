"""Write the invented export of the walk-through anew: a ring of streets in the words of a made-up GIS.

python docs/_build/make_export.py
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

OUT = Path(__file__).resolve().parent.parent / "data" / "export"
X, Y = 431_000.0, 5_402_000.0
CRS = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}}
STREETS = ("Nordring", "Ostring", "Südring", "Westring")
CORNERS = ((0.0, 200.0), (300.0, 200.0), (300.0, 0.0), (0.0, 0.0))


def _line(*points: tuple[float, float]) -> dict[str, Any]:
    return {"type": "LineString", "coordinates": [[round(X + x, 3), round(Y + y, 3)] for x, y in points]}


def _point(x: float, y: float) -> dict[str, Any]:
    return {"type": "Point", "coordinates": [round(X + x, 3), round(Y + y, 3)]}


def _write(name: str, rows: list[tuple[dict[str, Any], dict[str, Any]]]) -> None:
    features = [{"type": "Feature", "properties": p, "geometry": g} for p, g in rows]
    text = json.dumps(
        {"type": "FeatureCollection", "name": name, "crs": CRS, "features": features}, indent=None
    )
    text = text.replace('{"type": "Feature",', '\n{"type": "Feature",')
    (OUT / f"{name}.geojson").write_text(text + "\n", encoding="utf-8")


def main() -> None:
    """Write the three files."""
    OUT.mkdir(parents=True, exist_ok=True)
    pipes, people = [], []
    number = 0
    for k, street in enumerate(STREETS):
        a, b = CORNERS[k], CORNERS[(k + 1) % 4]
        of_main = {
            "LEITNR": f"L{k + 1}",
            "ART": "Versorgung",
            "WERKSTOFF": "PE 100",
            "DA": 125,
            "SDR_KLASSE": "11",
        }
        pipes.append((of_main | {"BAUJAHR": 2001 + k, "STRASSE": street}, _line(a, b)))
        length = abs(b[0] - a[0]) + abs(b[1] - a[1])
        inward = (
            (0.0, -12.0) if k == 0 else (-12.0, 0.0) if k == 1 else (0.0, 12.0) if k == 2 else (12.0, 0.0)
        )
        for step in range(20, int(length) - 10, 25):
            number += 1
            share = step / length
            tap = (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1]))
            end = (tap[0] + inward[0], tap[1] + inward[1])
            of_pipe = {
                "LEITNR": f"H{number}",
                "ART": "Anschluss",
                "WERKSTOFF": "PE 100",
                "DA": 32,
                "SDR_KLASSE": "11",
            }
            pipes.append((of_pipe | {"BAUJAHR": 2005, "STRASSE": street}, _line(tap, end)))
            person = {"ZAEHLER": f"Z{number}", "STRASSE": street, "HAUSNR": str(number), "PLZ": "00000"}
            person |= {"NUTZUNG": "Gewerbe" if number % 9 == 0 else "Wohnen", "MWH_JAHR": 14 + number % 5}
            people.append((person | {"ANSCHLUSS": f"H{number}"}, _point(*end)))
    _write("LEITUNG", pipes)
    _write("KUNDE", people)
    stations = [
        ({"NAME": "GDR 1", "PA_MBAR": 30, "SAV_MBAR": 50}, _point(*CORNERS[0])),
        ({"NAME": "GDR 2", "PA_MBAR": 30, "SAV_MBAR": 50}, _point(*CORNERS[2])),
    ]
    _write("REGLER", stations)


if __name__ == "__main__":
    main()
