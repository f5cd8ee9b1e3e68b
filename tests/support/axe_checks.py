"""What axe-core finds on an open page, of the kinds that shut people out."""

from __future__ import annotations

from importlib import resources
from typing import Any

__all__ = ["barriers"]

SHUTS_OUT = ("serious", "critical")


def barriers(page: Any) -> list[str]:
    """Return the serious and critical findings of axe-core on a page, one line each; text given by its place."""
    script = resources.files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
    # Evaluated by the browser's own tool: the page's policy lets nobody else run a script.
    page.evaluate(script)
    found = page.evaluate("axe.run(document, { resultTypes: ['violations'] })")
    assert len(found["passes"]) > 10, "axe looked at nothing"
    return [
        f"{rule['impact']}: {rule['id']} at {', '.join(str(node['target'][0]) for node in rule['nodes'][:3])}"
        for rule in found["violations"]
        if rule["impact"] in SHUTS_OUT
    ]
