"""The styles stored in plan.gpkg, taken and drawn by a desktop GIS without a screen.

``/usr/bin/python3 tests/desktop_styles.py PLAN_DIR PICTURES`` with Debian's ``python3-qgis``: for the default
styles and for each option's, every layer must draw exactly the rows of that option, and stops, feeds and house
numbers must carry their labels. A picture of each is left to look at. Nothing of the package is imported: the
interpreter is the system's.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from qgis.core import (
    QgsApplication,
    QgsMapRendererParallelJob,
    QgsMapSettings,
    QgsRectangle,
    QgsRenderContext,
    QgsVectorLayer,
)
from qgis.PyQt.QtCore import QSize
from qgis.PyQt.QtGui import QColor

NAMES = (
    *("water", "buildings", "streets", "rail", "nodes", "pipes", "zones", "refused", "work", "excavations"),
    *("customers", "in_doubt", "fallback", "tappings", "bypasses", "gauges", "purge_points"),
    *("as_built_fittings", "stations", "stops"),
)
"""Layers from the bottom up."""
AROUND_M = 25.0
"""What a picture shows around the stops [m], times the projection's scale."""


def opened(path: Path) -> dict[str, QgsVectorLayer]:
    """Return the layers of a plan by name, with their default styles."""
    layers = {name: QgsVectorLayer(f"{path}|layername={name}", name, "ogr") for name in NAMES}
    return {name: layer for name, layer in layers.items() if layer.isValid() and layer.featureCount() > 0}


def stored(layer: QgsVectorLayer) -> dict[str, str]:
    """Return the ids of a layer's stored styles by their names."""
    own, ids, names, _, _ = layer.listStylesInDatabase()
    return dict(zip(names[:own], ids[:own], strict=True))  # styles of other layers follow its own


def drawn(layer: QgsVectorLayer) -> list[int | None]:
    """Return the option of each row that a layer's renderer draws."""
    renderer, context = layer.renderer().clone(), QgsRenderContext()
    context.setRendererScale(500.0)
    renderer.startRender(context, layer.fields())
    seen = []
    for feature in layer.getFeatures():
        context.expressionContext().setFeature(feature)
        if renderer.willRenderFeature(feature, context):
            seen.append(feature["option"] if layer.fields().indexOf("option") >= 0 else None)
    renderer.stopRender(context)
    return seen


def picture(layers: dict[str, QgsVectorLayer], option: int, path: Path) -> set[str]:
    """Draw the surroundings of an option's stops, and return the texts of the labels."""
    stops = [f.geometry().asPoint() for f in layers["stops"].getFeatures() if f["option"] == option]
    box = QgsRectangle(
        min(p.x() for p in stops),
        min(p.y() for p in stops),
        max(p.x() for p in stops),
        max(p.y() for p in stops),
    )
    box.grow(AROUND_M)
    settings = QgsMapSettings()
    settings.setLayers([layers[name] for name in reversed(NAMES) if name in layers])
    settings.setDestinationCrs(layers["stops"].crs())
    settings.setExtent(box)
    settings.setOutputSize(QSize(1400, 1000))
    settings.setBackgroundColor(QColor("white"))
    job = QgsMapRendererParallelJob(settings)
    job.start()
    job.waitForFinished()
    job.renderedImage().save(str(path))
    return {label.labelText for label in job.takeLabelingResults().allLabels()}


def wrong_of(layers: dict[str, QgsVectorLayer], option: int, labels: set[str]) -> list[str]:
    """Return what an option's styles draw wrongly, a line each."""
    wrong = []
    for name, layer in layers.items():
        if layer.fields().indexOf("option") < 0:
            continue
        column = {"pipes": "state", "customers": "effect", "stops": "kind", "as_built_fittings": "kind"}.get(
            name
        )
        rows = [f for f in layer.getFeatures() if f["option"] == option]
        wanted = [f for f in rows if column is None or f[column]]
        got = drawn(layer)
        if set(got) - {option} or len(got) != len(wanted):
            wrong.append(
                f"{name}: draws {len(got)} rows of options {sorted(map(str, set(got)))}, wanted {len(wanted)}"
            )
    for name, column in (("stops", "stop_id"), ("bypasses", "bypass_id")):
        ids = (
            {f[column] for f in layers[name].getFeatures() if f["option"] == option}
            if name in layers
            else set()
        )
        if not ids <= labels:
            wrong.append(f"{name}: labels {sorted(ids - labels)} are missing")
    numbers = {str(f["number"]) for f in layers["customers"].getFeatures()}
    if not labels & numbers:
        wrong.append("customers: no house number is written")
    return wrong


def main() -> int:
    """Check the default styles, then those of each option; return how many are wrong."""
    folder, pictures = Path(sys.argv[1]), Path(sys.argv[2])
    pictures.mkdir(parents=True, exist_ok=True)
    application = QgsApplication([], False)
    application.initQgis()
    layers = opened(folder / "plan.gpkg")
    options = sorted({f["option"] for f in layers["stops"].getFeatures()})
    faults = 0
    for name in ("default", *options):
        if name != "default":
            for layer in layers.values():
                ids = stored(layer)
                if f"option {name}" in ids:
                    xml, problem = layer.getStyleFromDatabase(ids[f"option {name}"])
                    taken, _ = applied(layer, xml)
                    assert not problem, problem
                    assert taken, f"{layer.name()}: option {name} is not taken"
        rank = options[0] if name == "default" else name
        labels = picture(layers, rank, pictures / f"styles-{name}.png")
        wrong = wrong_of(layers, rank, labels)
        faults += len(wrong)
        print(f"{name}: {len(layers)} layers, {len(labels)} different labels, {len(wrong)} wrong")
        for line in wrong:
            print("  " + line)
    layers.clear()
    application.exitQgis()
    return min(faults, 1)


def applied(layer: QgsVectorLayer, xml: str) -> tuple[bool, str]:
    """Apply a style to a layer."""
    from qgis.PyQt.QtXml import QDomDocument

    document = QDomDocument()
    document.setContent(xml)
    taken, problem = layer.importNamedStyle(document)
    return bool(taken), str(problem)


if __name__ == "__main__":
    sys.exit(main())
