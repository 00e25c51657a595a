"""How far the flags can be trusted: mistakes found, on the right cell, and false flags on clean logs.

Usage: python -m tests.score [--set development|held-out] [--logs N] [--jobs 2] [--show KIND]

Every log is simulated from its own seed (tests/simulator); into copies of it one mistake each is planted. A
mistake is found if there is an error or a warning that the same log does not have without it; in the right
place if one of those stands on a cell that may be at fault. Then all of a log are planted at once, to see
whether one hides another. Nobody tunes a check on the held-out set; who does has no score any more.
"""

import argparse
import multiprocessing
import sys
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

import in_memory
from in_memory import Again, Blank, blank, position, remembering
from simulator import distiller, faults, page
from simulator.bench import Batch, Place

from sheetcalc import compute, files, layouts
from sheetcalc.filling import examine
from sheetcalc.findings import Finding

SETS = {"development": 0, "held-out": 1_000_000}
EVERY_FILE = 50  # one log in so many goes through a real file, too
PLANTED = 3  # mistakes a log

# What tells two findings apart: rule, tab, row, column.
Flag = tuple[str, str, int, int]


def labels(batch: Batch) -> dict[tuple[str, str], str]:
    """Unit cells that the person changed."""
    return {place: label for place, label in batch.labels.items() if label != "thousandths"}


def serious(findings: Iterable[Finding]) -> dict[Flag, Finding]:
    """The errors and warnings."""
    return {(f.rule, f.sheet, f.row, f.place): f for f in findings if f.level != "note"}


@dataclass
class Missed:
    """A mistake that was not found, or only on another cell, in words."""

    seed: int
    kind: str
    lines: list[str]


@dataclass
class Tally:
    """What was counted over some logs."""

    logs: int = 0
    planted: Counter[str] = field(default_factory=Counter)
    found: Counter[str] = field(default_factory=Counter)
    right: Counter[str] = field(default_factory=Counter)
    together: int = 0
    right_together: int = 0
    clean_with_flags: int = 0
    false_flags: Counter[str] = field(default_factory=Counter)
    false_cases: list[Missed] = field(default_factory=list)
    wrong_rules: dict[str, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    missed: list[Missed] = field(default_factory=list)
    missed_columns: dict[str, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))
    unlike_in_file: list[int] = field(default_factory=list)

    def add(self, other: "Tally") -> None:
        """Count another tally in."""
        self.logs += other.logs
        self.together += other.together
        self.right_together += other.right_together
        self.clean_with_flags += other.clean_with_flags
        for name in ("planted", "found", "right", "false_flags"):
            getattr(self, name).update(getattr(other, name))
        for name in ("false_cases", "missed", "unlike_in_file"):
            getattr(self, name).extend(getattr(other, name))
        for name in ("wrong_rules", "missed_columns"):
            for kind, counted in getattr(other, name).items():
                getattr(self, name)[kind].update(counted)


def kinds_for(seed: int) -> list[str]:
    """The kinds of mistake to try in a log, in an order of its own; scarce ones are likelier to be first."""
    rng = np.random.default_rng([seed, 7])
    turn = {kind: rng.random() * (0.2 if kind in faults.SCARCE else 1.0) for kind in faults.KINDS}
    return sorted(turn, key=lambda kind: turn[kind])


def score(seed: int, in_a_file: bool = False, only: str = "") -> Tally:
    """One log: its false flags, and the mistakes planted in copies of it."""
    with remembering():
        return _score(seed, in_a_file, only)


def _score(seed: int, in_a_file: bool, only: str) -> Tally:
    batch, tally = distiller.batch(seed), Tally(logs=1)
    book = blank("us" if batch.bench.system == "us" else "metric")
    typed = page.cells(batch, {})
    clean = compute.Values(in_memory.read(book, typed, labels(batch)))
    flags = serious(compute.findings(clean))
    if flags and not only:
        tally.clean_with_flags = 1
        tally.false_flags.update(f"{f.sheet}: {f.rule}" for f in flags.values())
        tally.false_cases += [Missed(seed, f"{f.sheet}: {f.rule}", _told([f])) for f in flags.values()]
    if in_a_file and not agrees(book, batch, typed, clean):
        tally.unlike_in_file.append(seed)
    rng, planted = np.random.default_rng([seed, 11]), list[faults.Fault]()
    for kind in [only] if only else kinds_for(seed):
        fault = faults.plant(kind, batch, rng)
        if fault is None:
            continue
        spoilt = Again(in_memory.read(book, page.cells(batch, fault.changes), labels(batch)), clean)
        raised = [f for flag, f in serious(compute.findings(spoilt)).items() if flag not in flags]
        _count(tally, seed, batch, book, fault, raised)
        planted.append(fault)
        if len(planted) == PLANTED:
            break
    if len(planted) > 1 and len({place for fault in planted for place in fault.changes}) == sum(
        len(fault.changes) for fault in planted
    ):
        changes = {place: value for fault in planted for place, value in fault.changes.items()}
        spoilt = Again(in_memory.read(book, page.cells(batch, changes), labels(batch)), clean)
        raised = [f for flag, f in serious(compute.findings(spoilt)).items() if flag not in flags]
        tally.together += len(planted)
        tally.right_together += sum(_hit(book, fault, raised) for fault in planted)
    return tally


def _hit(book: Blank, fault: faults.Fault, raised: list[Finding]) -> bool:
    """Whether a flag stands on a cell that may be at fault."""
    right = {(book.found[p[0]].tab, *position(book.found, p)) for p in fault.right}
    return any((f.sheet, f.row, f.place) in right for f in raised)


def _count(
    tally: Tally, seed: int, batch: Batch, book: Blank, fault: faults.Fault, raised: list[Finding]
) -> None:
    kind = fault.kind
    tally.planted[kind] += 1
    tally.found[kind] += bool(raised)
    hit = _hit(book, fault, raised)
    tally.right[kind] += hit
    if hit:
        return
    column = " and ".join(sorted({f"{sheet}.{key}" for sheet, _, key in fault.changes}))
    tally.missed_columns[kind][column] += 1
    tally.wrong_rules[kind].update({f"{f.sheet}: {f.rule}" for f in raised})
    changes = [
        f"{sheet} {record} {key}: {batch.value((sheet, record, key))!r} -> {value!r}"
        for (sheet, record, key), value in fault.changes.items()
    ]
    lines = [f"size {fault.size:.1f}", *changes, *_told(raised)]
    tally.missed.append(Missed(seed, kind, lines))


def _told(findings: Iterable[Finding]) -> list[str]:
    return [f"   {f.level} {f.sheet} {f.cell} {f.rule}: {f.message}" for f in findings]


def agrees(book: Blank, batch: Batch, typed: Mapping[Place, Any], values: compute.Values) -> bool:
    """Whether the same cells in a real file, of one format or the other, give the same findings."""
    system: layouts.System = "us" if batch.bench.system == "us" else "metric"
    of_format = blank(system, (".xlsx", ".ods")[len(typed) % 2])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / of_format.path.name
        path.write_bytes(of_format.path.read_bytes())
        written = files.open_workbook(path)
        for place, value in typed.items():
            written.write(of_format.found[place[0]].tab, *position(of_format.found, place), value)
        for (sheet, key), label in labels(batch).items():
            found = of_format.found[sheet]
            written.write(found.tab, *found.units[key], label)
        written.save()
        there = {(f.level, f.rule, f.sheet, f.row, f.place, f.message) for f in examine(path).findings}
    here = {(f.level, f.rule, f.sheet, f.row, f.place, f.message) for f in compute.findings(values)}
    return here == there


def run(first: int, logs: int, jobs: int = 1, only: str = "") -> Tally:
    """Score so many logs from a seed on."""
    total, seeds = Tally(), range(first, first + logs)
    for system in ("metric", "us"):
        blank(system)  # before the processes part, so that each has it
    if jobs == 1:
        for seed in seeds:
            total.add(score(seed, seed % EVERY_FILE == 0, only))
        return total
    with ProcessPoolExecutor(jobs, multiprocessing.get_context("fork")) as pool:
        in_a_file = [seed % EVERY_FILE == 0 for seed in seeds]
        for tally in pool.map(score, seeds, in_a_file, [only] * logs, chunksize=5):
            total.add(tally)
    return total


def report(tally: Tally) -> str:
    """The tables."""
    planted, found, right = (sum(c.values()) for c in (tally.planted, tally.found, tally.right))
    lines = [f"{'mistake':58} planted  found  right cell   not so, and what was said instead"]
    for kind in faults.KINDS:
        count = tally.planted[kind]
        if not count:
            lines.append(f"{kind:58} {0:7}")
            continue
        columns = ", ".join(f"{name} {n}" for name, n in tally.missed_columns[kind].most_common(3))
        rules = ", ".join(f"{name} {n}" for name, n in tally.wrong_rules[kind].most_common(2))
        lines.append(
            f"{kind:58} {count:7} {tally.found[kind] / count:6.0%} "
            f"{tally.right[kind] / max(tally.found[kind], 1):11.0%}   "
            + " | ".join(filter(None, (columns, rules)))
        )
    lines.append(f"{'all':58} {planted:7} {found / max(planted, 1):6.1%} {right / max(found, 1):11.1%}")
    share = tally.right_together / max(tally.together, 1)
    lines.append(f"all of a log at once: {tally.together}, of which on a right cell {share:.1%}")
    lines += ["", f"clean logs: {tally.logs}; with an error or a warning: {tally.clean_with_flags}"]
    lines.append(
        f"false flags a hundred clean logs: {100 * tally.false_flags.total() / max(tally.logs, 1):.2f}"
    )
    lines += [f"   {count:4}  {rule}" for rule, count in tally.false_flags.most_common()]
    if tally.unlike_in_file:
        lines.append(f"a file gives other findings than its cells do: seeds {tally.unlike_in_file}")
    return "\n".join(lines)


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--set", choices=SETS, default="development")
    parser.add_argument("--logs", type=int, default=1000)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--show", default="", help="a kind of mistake, or 'false' for the false flags")
    told = parser.parse_args()
    only = told.show if told.show in faults.KINDS else ""
    tally = run(SETS[told.set], told.logs, told.jobs, only)
    print(report(tally))
    if told.show:
        for case in tally.false_cases if told.show == "false" else tally.missed:
            print(f"\nseed {case.seed}: {case.kind}", *case.lines, sep="\n")


if __name__ == "__main__":
    main()
