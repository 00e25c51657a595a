"""How fast a fill is, beside others that do a part of its work in the same run on the same file.

Usage: .venv/bin/python tests/benchmarks/fill_speed.py [--runs 5] [--rows 10000]

Prints seconds and, what counts, ratios: below 1 sheetcalc is faster. Peer: openpyxl or odfpy, which load the
file and save it. Floor: unzip, parse with lxml, serialise and zip of the parts that hold sheets. --rows fills
one table of so many records, too. Many logs: many_logs.py.
"""

import argparse
import compileall
import io
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
from lxml import etree

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "examples"))

import demo  # noqa: E402 - needs the path above

from sheetcalc import files, layouts  # noqa: E402
from sheetcalc.files import locate  # noqa: E402
from sheetcalc.filling import fill  # noqa: E402
from sheetcalc.liquids import spirit  # noqa: E402
from sheetcalc.making import new  # noqa: E402

PEERS = {
    ".xlsx": "import openpyxl; openpyxl.load_workbook({0!r}).save({1!r})",
    ".ods": "from odf.opendocument import load; load({0!r}).save({1!r})",
}
SAMPLE = 200  # strengths that the root finder does, to be scaled


def seconds(runs: int, work: Callable[[], object], prepare: Callable[[], object] = lambda: None) -> float:
    """The median time of the work; the preparation before each run is not counted."""
    times = []
    for _ in range(runs):
        prepare()
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def process(*words: str) -> Callable[[], object]:
    """A run of Python in a process of its own."""
    return lambda: subprocess.run([sys.executable, *words], stdout=subprocess.DEVNULL, check=False)


def floor(path: Path) -> None:
    """The least that anybody does who edits these parts of a file."""
    made = io.BytesIO()
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new_one:
        for name in old.namelist():
            if name == "content.xml" or name.startswith("xl/worksheets/sheet"):
                new_one.writestr(name, etree.tostring(etree.fromstring(old.read(name))))


def change(path: Path) -> None:
    """Type another temperature beside the first reading, as little as anybody types before a fill."""
    book = files.open_workbook(path)
    sheet = layouts.every_sheet()["fermentation"]
    place = locate.find(book, [sheet])[sheet.key]
    book.write(place.tab, place.first_row, place.cells["sample_temperature"][1], 21.5)
    book.save()


def tell(name: str, ours: float, theirs: float) -> None:
    """One line: our time, theirs, and the ratio."""
    print(f"{name:44} {ours:8.3f} s {theirs:8.3f} s   {ours / theirs:7.3f}", flush=True)


def compare(typed: Path, folder: Path, runs: int) -> None:
    """Print one file's times, whole process and in process."""
    work, out = folder / f"work{typed.suffix}", folder / f"out{typed.suffix}"
    peer = PEERS[typed.suffix].format(str(work), str(out))

    def fresh() -> None:
        shutil.copyfile(typed, work)

    fresh()
    exec(peer)  # imports and warms up what the peer needs
    fill(work)
    name = typed.suffix[1:]
    whole = seconds(runs, process("-m", "sheetcalc", "fill", str(work)), fresh)
    tell(f"{name}: command against peer's process", whole, seconds(runs, process("-c", peer), fresh))
    ours = seconds(runs, lambda: fill(work), fresh)
    theirs = seconds(runs, lambda: exec(peer), fresh)
    least = seconds(runs, lambda: floor(work), fresh)
    tell(f"{name}: in process against peer", ours, theirs)
    tell(f"{name}: in process against floor", ours, least)
    fill(work)
    again = seconds(runs, lambda: fill(work))
    change(work)
    changed = work.read_bytes()
    once_more = seconds(runs, lambda: fill(work), lambda: work.write_bytes(changed))
    tell(f"{name}: one entry changed against peer", once_more, theirs)
    tell(f"{name}: up to date against peer", again, theirs)
    tell(f"{name}: up to date against a fill", again, ours)


def strengths(count: int = 1_000_000) -> None:
    """Densities at 5 to 35 °C made strengths at 20 °C: arrays against a root finder, one after the other."""
    from scipy.optimize import brentq

    draw = np.random.default_rng(1)
    temperature = draw.uniform(5.0, 35.0, count)
    density = spirit.density(draw.uniform(0.05, 0.95, count), temperature)
    start = time.perf_counter()
    spirit.strength(spirit.mass_fraction_from_density(density, temperature))
    ours = time.perf_counter() - start
    start = time.perf_counter()
    for rho, t in zip(density[:SAMPLE], temperature[:SAMPLE], strict=True):
        brentq(lambda p, rho=rho, t=t: float(spirit.density(p, t)) - rho, 0.03, 0.97, xtol=1e-10)
    tell(f"{count:,} strengths against brentq, scaled", ours, (time.perf_counter() - start) * count / SAMPLE)


def long_table(rows: int, folder: Path) -> None:
    """Print the time of one table of so many records, against openpyxl on the same filled file."""
    path = folder / "long.xlsx"
    # More than the usual limit, as somebody may set it in templates of their own.
    templates = shutil.copytree(layouts.folder(), folder / "templates")
    strength = templates / "sheets" / "strength.toml"
    strength.write_text(f"most = {rows}\n{strength.read_text(encoding='utf-8')}", encoding="utf-8")
    layouts.folder = lambda: templates
    layouts.every_sheet.cache_clear()
    layouts.load.cache_clear()
    new("bench", path, "metric")
    lot = {"volume": 0.7, "reading": 60.0, "temperature": 20.0, "target_strength": 40.0}
    demo.type_in(path, {"strength": [lot | {"lot": f"L{n}"} for n in range(rows)]})
    took = seconds(1, lambda: fill(path))
    peer = PEERS[".xlsx"].format(str(path), str(folder / "long-out.xlsx"))
    tell(f"{rows:,} records in one table against peer", took, seconds(1, lambda: exec(peer)))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--rows", type=int, default=0)
    wanted = parser.parse_args()
    # As an installed package is.
    compileall.compile_dir(ROOT / "sheetcalc", quiet=1)
    with tempfile.TemporaryDirectory() as name:
        demo.make(Path(name) / "typed")
        print(f"{'':44} {'ours':>10} {'theirs':>10}     ratio")
        for ending in PEERS:
            compare(Path(name) / "typed" / f"birch-sugar{ending}", Path(name), wanted.runs)
        start_up = [process("-m", "sheetcalc", "--help"), process("-c", "pass")]
        tell("--help against python -c pass", *(seconds(wanted.runs, each) for each in start_up))
        strengths()
        if wanted.rows:
            long_table(wanted.rows, Path(name))
