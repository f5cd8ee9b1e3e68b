"""All exports into one folder."""

from __future__ import annotations

import sys
from pathlib import Path

from tests.company_exports import EXPORTS, write_export

for each in EXPORTS:
    print(write_export(each, Path(sys.argv[1]) / each))  # noqa: T201
