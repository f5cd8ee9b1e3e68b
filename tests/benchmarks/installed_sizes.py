"""What the package and each of its extras add to an environment, on disk.

    python3 -m venv FOLDER && FOLDER/bin/pip install -c constraints.txt ".[all]"
    FOLDER/bin/python tests/benchmarks/installed_sizes.py

Run it with the interpreter of that environment; it needs nothing but the standard library and `packaging`, which
comes with the package. Sizes are blocks on disk of the files that a distribution records, its compiled Python
files among them.
"""

from __future__ import annotations

import importlib.metadata as metadata
import sys
from pathlib import Path

from packaging.requirements import Requirement

OURS = "gas-netplan"
FROM_MIB = 0.5
"""Packages below are added up in one line [MiB]."""


def size_mib(name: str) -> float:
    """Return what the files of a distribution take [MiB]."""
    found = metadata.distribution(name)
    paths = [Path(str(found.locate_file(file))) for file in found.files or ()]
    return sum(path.stat().st_blocks for path in paths if path.is_file()) * 512 / 2**20


def required(name: str, extra: str = "") -> set[str]:
    """Return the distributions that one needs, with all that they need, itself left out."""
    seen, waiting = {(name, extra)}, [(name, extra)]
    while waiting:
        here, asked = waiting.pop()
        for text in metadata.requires(here) or ():
            one = Requirement(text)
            if one.marker is None or one.marker.evaluate({"extra": asked}):
                key = one.name.lower().replace("_", "-")
                more = {(key, part) for part in ("", *one.extras)} - seen
                seen |= more
                waiting += more
    return {key for key, _ in seen} - {OURS}


def main() -> int:
    """Print a line for each package, largest first, those of an extra under its name."""
    base = required(OURS)
    extras = [one for one in metadata.metadata(OURS).get_all("Provides-Extra") or () if one in _WANTED]
    groups = {"": base | {OURS}, **{extra: required(OURS, extra) - base for extra in extras}}
    for extra, names in groups.items():
        sizes = sorted(((size_mib(name), name) for name in names), reverse=True)
        print(f"{extra or 'without extras'}: {sum(size for size, _ in sizes):.0f} MiB, {len(sizes)} packages")  # noqa: T201
        for size, name in sizes:
            if size >= FROM_MIB:
                print(f"  {size:6.1f} {name} {metadata.version(name)}")  # noqa: T201
        print(f"  {sum(size for size, _ in sizes if size < FROM_MIB):6.1f} the others")  # noqa: T201
    return 0


_WANTED = ("cluster", "compiled", "database", "graph")

if __name__ == "__main__":
    sys.exit(main())
