"""Many logs on one process and on two: logs a second, and whether the memory stays flat.

Usage: .venv/bin/python tests/benchmarks/many_logs.py [--logs 100] [--jobs 1 2] [--filled]

The logs are copies of the demo workbooks, in both formats, with their entries typed in; with --filled they
are up to date already. Peak memory is told after 10 %, 50 % and 100 % of them: of the parent and of the
largest child.
"""

import argparse
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "examples"))

import demo  # noqa: E402 - needs the path above

from sheetcalc import many  # noqa: E402
from sheetcalc.filling import bring_up_to_date, fill  # noqa: E402

TOLD_AT = (0.1, 0.5, 1.0)


def peak(process: int | str) -> float:
    """The most memory a process has had by now, in MB; where the system does not tell, nothing."""
    try:
        status = Path(f"/proc/{process}/status").read_text(encoding="ascii", errors="replace")
        return int(status.split("VmHWM:")[1].split()[0]) / 1024
    except (OSError, IndexError):
        return float("nan")


def children() -> list[str]:
    """The processes that this one has started."""
    listed = Path(f"/proc/{os.getpid()}/task/{os.getpid()}/children")
    return listed.read_text(encoding="ascii").split() if listed.exists() else []


def make(samples: list[Path], count: int, folder: Path) -> list[Path]:
    """So many copies of the samples, one after the other."""
    folder.mkdir()
    paths = [folder / f"{n:05}{samples[n % len(samples)].suffix}" for n in range(count)]
    for number, path in enumerate(paths):
        shutil.copyfile(samples[number % len(samples)], path)
    return paths


def measure(paths: list[Path], jobs: int) -> float:
    """Fill them, print what it took, and give the logs a second."""
    told = {max(1, round(share * len(paths))): share for share in TOLD_AT}
    start = time.perf_counter()
    for number, outcome in enumerate(many.each([(path,) for path in paths], bring_up_to_date, jobs), start=1):
        if outcome.trouble:
            raise SystemExit(f"{outcome.path}: {outcome.trouble}")
        if number in told:
            largest = max(map(peak, children()), default=0.0) if jobs > 1 else 0.0
            child = f", largest child {largest:5.1f} MB" if largest else ""
            print(f"  {told[number]:4.0%}  parent {peak('self'):6.1f} MB{child}", flush=True)
    rate = len(paths) / (time.perf_counter() - start)
    print(f"  {rate:.2f} logs a second on {jobs} {'processes' if jobs > 1 else 'process'}", flush=True)
    return rate


def run(logs: int, jobs: list[int], filled: bool) -> dict[int, float]:
    """Measure with each number of processes in turn; logs a second by that number."""
    rates = {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        demo.make(folder / "typed")
        samples = sorted((folder / "typed").iterdir())
        for sample in samples if filled else []:
            fill(sample)
        for number in jobs:
            paths = make(samples, logs, folder / "logs")
            print(f"{logs} logs{' that are up to date' if filled else ''}, {number} at a time", flush=True)
            rates[number] = measure(paths, number)
            shutil.rmtree(folder / "logs")
    return rates


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--logs", type=int, default=100)
    parser.add_argument("--jobs", type=int, nargs="+", default=[1, 2])
    parser.add_argument("--filled", action="store_true")
    wanted = parser.parse_args()
    rates = run(wanted.logs, wanted.jobs, wanted.filled)
    if {1, 2} <= rates.keys():
        print(f"two processes against one: {rates[2] / rates[1]:.2f}")
