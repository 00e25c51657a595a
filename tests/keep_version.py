"""Keeps a small filled workbook of today's templates in tests/versions, for every later version to fill.

Usage: PYTHONPATH=examples python tests/keep_version.py, at each release that raises the version.
"""

import tempfile
from pathlib import Path

import demo

from sheetcalc import layouts
from sheetcalc.filling import fill

KEPT = Path(__file__).with_name("versions")
# A workbook of the demo scenario for each kind.
NAMES = {"batch": "creek-grain-us", "bench": "daily-bench"}


def keep() -> None:
    """Make and fill the workbooks as they are today; those of the same version are replaced."""
    with tempfile.TemporaryDirectory() as scratch:
        demo.make(Path(scratch))
        for kind, name in NAMES.items():
            for ending in demo.ENDINGS:
                path = Path(scratch) / f"{name}{ending}"
                fill(path)
                path.replace(KEPT / f"{kind}-{layouts.load(kind).version}{ending}")


if __name__ == "__main__":
    keep()
