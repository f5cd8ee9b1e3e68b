"""Keep the answers of all cases, compare two kept folders, or write the pinned ones anew.

python -m tests.golden make FOLDER         with the version of the program that is checked out
python -m tests.golden compare OLD NEW     says what differs; exit code 1 when anything does
python -m tests.golden pin                 after a change that is meant to move figures
"""

from __future__ import annotations

import json
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from tests.golden.cases import CASES, PINNED, PINNED_FOLDER, Case, run_case
from tests.golden.contents import contents, differences

MOST_SHOWN, MOST_LETTERS = 20, 80


def keep(cases: Iterable[Case], folder: Path) -> None:
    """Write what each case answers to a JSON file of its name."""
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as towns:
        for case in cases:
            with tempfile.TemporaryDirectory() as out:
                found = contents(run_case(case, Path(towns), Path(out)))
            (folder / f"{case.name}.json").write_text(json.dumps(found, indent=1, ensure_ascii=False) + "\n")
            sys.stdout.write(f"{case.name}\n")
            sys.stdout.flush()


def _short(value: object) -> str:
    words = repr(value)
    return words if len(words) <= MOST_LETTERS else f"{words[:MOST_LETTERS]}…"


def compare(old: Path, new: Path) -> int:
    """Print what differs between two kept folders; return 1 when anything does."""
    different = 0
    for name in sorted({path.name for path in [*old.glob("*.json"), *new.glob("*.json")]}):
        one, other = (
            json.loads(path.read_text()) if path.exists() else {} for path in (old / name, new / name)
        )
        found = list(differences(one, other))
        different += bool(found)
        sys.stdout.write(f"{name}: {len(found)} differences\n")
        sys.stdout.writelines(f"  {path}: {_short(a)} -> {_short(b)}\n" for path, a, b in found[:MOST_SHOWN])
        kinds = Counter(path.split("[")[0] for path, _, _ in found)
        sys.stdout.writelines(f"  {count:6d} {kind}\n" for kind, count in kinds.most_common(MOST_SHOWN))
    return int(bool(different))


def main(arguments: list[str]) -> int:
    """Run ``make FOLDER``, ``compare OLD NEW`` or ``pin``."""
    if arguments[:1] == ["make"] and len(arguments) == 2:
        keep(CASES, Path(arguments[1]))
        return 0
    if arguments == ["pin"]:
        keep(PINNED, PINNED_FOLDER)
        return 0
    if arguments[:1] == ["compare"] and len(arguments) == 3:
        return compare(Path(arguments[1]), Path(arguments[2]))
    sys.stderr.write(f"{__doc__}\n")
    return 2


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
