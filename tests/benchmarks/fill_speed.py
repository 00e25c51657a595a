"""How fast a fill of the demo batch is, beside openpyxl's and odfpy's bare load-and-save of the same file.

Usage: .venv/bin/python tests/benchmarks/fill_speed.py

Prints seconds and, what counts, ratios taken in the same run: below 1 a fill is faster than the peer.
"""

import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "examples"))

import demo  # noqa: E402 - needs the path above

from sheetcalc.fill import fill  # noqa: E402

PEERS = {
    ".xlsx": "import openpyxl; openpyxl.load_workbook({0!r}).save({1!r})",
    ".ods": "from odf.opendocument import load; load({0!r}).save({1!r})",
}
OURS = "import pathlib; from sheetcalc.fill import fill; fill(pathlib.Path({0!r}))"
RUNS = 7


def seconds(work: Callable[[], object], prepare: Callable[[], object]) -> float:
    """The median time of the work; the preparation before each run is not counted."""
    times = []
    for _ in range(RUNS):
        prepare()
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def process(script: str) -> Callable[[], object]:
    """A run of a script in a Python process of its own."""
    return lambda: subprocess.run([sys.executable, "-c", script], check=True)


def compare(typed: Path, folder: Path) -> None:
    """Print one file's times, whole process and in process."""
    work, out = folder / f"work{typed.suffix}", folder / f"out{typed.suffix}"
    peer = PEERS[typed.suffix].format(str(work), str(out))

    def fresh() -> None:
        shutil.copyfile(typed, work)

    fresh()
    exec(peer)  # imports and warms up what the peer needs
    fill(work)
    rows = {
        "whole process": (process(OURS.format(str(work))), process(peer)),
        "in process": (lambda: fill(work), lambda: exec(peer)),
    }
    for name, (ours, theirs) in rows.items():
        mine, other = seconds(ours, fresh), seconds(theirs, fresh)
        print(f"{typed.suffix:6} {name:14} {mine:7.3f} s {other:7.3f} s   {mine / other:5.2f}")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        demo.make(folder / "typed")
        print(f"{'':21} {'fill':>9} {'peer':>9}   ratio   (peer: openpyxl / odfpy, load and save)")
        for ending in PEERS:
            compare(folder / "typed" / f"birch-sugar{ending}", folder)
