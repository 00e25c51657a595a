"""Stops real fills at random moments and looks at what they leave.

Usage: python -m tests.kill_campaign [--kills 300] [--seed 1] [--signal KILL|INT|TERM] [--what adopted|gather]

Each is a process of its own, `sheetcalc fill` on an xlsx or an ods, in place, with --backup or with --to; or
on somebody's own one with --layout; or `sheetcalc gather` into a register that is there.
Half of them are stopped at any moment of the run and half while they write, a moment after the temporary
turns up. The seed gives the moments; what the process has come to by then is up to the machine.

Every workbook has to be the old or the new one, byte for byte (else it is half), and so has the backup. After
KILL the next fill has to find the folder fit: all workbooks filled and nothing else there (else it is
litter). After INT and TERM nothing may be left to begin with, and there is one line and the usual exit code
(else it is said wrong).
"""

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "examples")]

from logs import clean_log, typed  # noqa: E402 - needs the path above
from own_logs import POLISH, TITLED  # noqa: E402

from sheetcalc import build, compute, layouts  # noqa: E402
from sheetcalc.filling import fill  # noqa: E402
from sheetcalc.own import adopt  # noqa: E402

WAYS = (("in place",), ("--backup", "--backup"), ("--to", "--to", "out"))
EARLIER = b"the version before the version before"
LONGEST_WRITE = 0.02  # seconds after the temporary turned up
LONGEST_TRY = 3  # fills for each kill
COLUMNS = ("stopped", "old", "new", "ended first", "left", "half", "litter", "said wrong")


@dataclass(frozen=True)
class Case:
    """A workbook before and after a fill, a way to fill it and how long that takes; other files it needs."""

    ending: str
    way: str
    options: tuple[str, ...]
    old: bytes
    new: bytes
    seconds: float
    what: str = "fill"
    beside: tuple[tuple[str, bytes], ...] = ()

    @property
    def name(self) -> str:
        """The file to fill."""
        return f"log.{self.ending}"

    @property
    def command(self) -> list[str]:
        """What is run."""
        said = ["gather", "logs", "--to", self.name] if self.what == "gather" else ["fill", self.name]
        return [sys.executable, "-m", "sheetcalc", *said, *self.options]


def start(case: Case, folder: Path) -> "subprocess.Popen[str]":
    """A real fill in a folder with nothing but the workbook and, with --backup, an earlier backup."""
    (folder / case.name).write_bytes(case.old)
    for name, content in case.beside:
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(content)
    if case.way == "--backup":
        (folder / f"{case.name}.before").write_bytes(EARLIER)
    return _run(case, folder)


def _run(case: Case, folder: Path) -> "subprocess.Popen[str]":
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    pipe = subprocess.PIPE
    return subprocess.Popen(case.command, cwd=folder, env=environment, text=True, stdout=pipe, stderr=pipe)


def adopted_cases(folder: Path) -> list[Case]:
    """People's own workbooks by their layout, with a column to add."""
    found = []
    for log in (TITLED, POLISH):
        path = log.make(folder)
        adopt.propose(path, folder / "log.toml", over=True)
        layout = (folder / "log.toml").read_bytes().replace(b"add = false", b"add = true")
        case = Case(path.suffix[1:], "--layout", ("--layout", "log.toml"), path.read_bytes(), b"", 0)
        found.append(_timed(replace(case, what="adopted", beside=(("log.toml", layout),)), folder))
    return found


def gather_cases(folder: Path) -> list[Case]:
    """A register with one batch that gets a second one."""
    layout, logs = layouts.load("batch"), []
    for number in (1, 2):
        blank, path = folder / "blank.xlsx", folder / f"{number}.xlsx"
        blank.unlink(missing_ok=True)
        build.new_workbook(layout, compute.needs(layout), "metric", blank)
        log = clean_log()
        typed(log | {"batch": log["batch"] | {"batch_code": f"K-{number}"}}, blank, path)
        logs.append((f"logs/{number}.xlsx", path.read_bytes()))
    found = []
    for ending in ("xlsx", "ods"):
        with tempfile.TemporaryDirectory(dir=folder) as name:
            (Path(name) / "logs").mkdir()
            (Path(name) / logs[0][0]).write_bytes(logs[0][1])
            case = Case(ending, "gather", (), b"", b"", 0, "gather", tuple(logs))
            _run(case, Path(name)).communicate()
            old = (Path(name) / case.name).read_bytes()
        found.append(_timed(replace(case, old=old), folder))
    return found


def _timed(case: Case, folder: Path) -> Case:
    """What the new file has to be comes from a run that nobody stops."""
    with tempfile.TemporaryDirectory(dir=folder) as name:
        began = time.monotonic()
        start(case, Path(name)).communicate()
        seconds, new = time.monotonic() - began, (Path(name) / case.name).read_bytes()
    assert new != case.old, "there is nothing to do"
    return replace(case, new=new, seconds=seconds)


def cases(folder: Path, book: str) -> list[Case]:
    """Both formats and all ways to fill."""
    found = []
    layout = layouts.load(book)
    wanted = {sheet.key for sheet in layout.sheets}
    log = {sheet: entries for sheet, entries in clean_log().items() if sheet in wanted}
    for ending in ("xlsx", "ods"):
        blank, old = folder / f"blank.{ending}", folder / f"typed.{ending}"
        build.new_workbook(layout, compute.needs(layout), "metric", blank)
        case = _timed(Case(ending, "", (), typed(log, blank, old).read_bytes(), b"", 0), folder)
        found += [replace(case, way=way, options=tuple(options)) for way, *options in WAYS]
    return found


def wait_for_the_moment(
    process: "subprocess.Popen[str]", case: Case, folder: Path, chance: random.Random, kind: str
) -> None:
    """Pass the time until the process is to be stopped."""
    if kind != "KILL":
        # Before its first line Python does not know yet what we make of an interruption.
        while process.poll() is None and not _catches(process.pid, signal.SIGTERM):
            time.sleep(0.001)
    if chance.random() < 0.5:
        time.sleep(chance.uniform(0, 1.1 * case.seconds))
        return
    pause = chance.uniform(0, LONGEST_WRITE)
    place = folder / "out" if case.way == "--to" else folder
    while process.poll() is None and not temporaries(place):
        time.sleep(0.0003)
    time.sleep(pause)


def _catches(process: int, kind: int) -> bool:
    """Whether a running process has a handler of its own for a signal (where Linux tells)."""
    try:
        status = Path(f"/proc/{process}/status").read_text()
    except OSError:
        return False
    caught = next(line for line in status.splitlines() if line.startswith("SigCgt"))
    return bool(int(caught.split()[1], 16) >> (kind - 1) & 1)


def temporaries(folder: Path) -> list[str]:
    """What a fill has in the folder while it writes."""
    return [path.name for path in folder.glob(".sheetcalc-*")]


def stop_one(case: Case, folder: Path, chance: random.Random, kind: str) -> Counter[str]:
    """Start a fill, stop it, look, and fill again; what came of it, each thing counted once."""
    process = start(case, folder)
    wait_for_the_moment(process, case, folder, chance, kind)
    number = getattr(signal, f"SIG{kind}")
    process.send_signal(number)
    _, told = process.communicate()
    stopped = process.returncode not in (0, 1)
    seen = Counter({"stopped" if stopped else "ended first": 1})
    if kind != "KILL":
        line = "Interrupted; every workbook is whole, filled or as it was before.\n" if stopped else ""
        seen["said wrong"] += told != line or process.returncode not in (0, 128 + number)
    left = [*temporaries(folder), *temporaries(folder / "out")]
    seen["left"] += len(left)
    state = _state(case, folder)
    if stopped:
        seen[state] += 1
    else:
        seen["half"] += state != "new"
    if kind == "KILL":
        _fill_again(case, folder)
        seen["half"] += _state(case, folder) != "new"
    allowed = {case.name, *_others(case), *(name for name, _ in case.beside)}
    present = {str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file()}
    # An interrupted process may not have come to the other files; there is never one more.
    seen["litter"] += bool(present - allowed) or (kind == "KILL" and present != allowed)
    return seen


def _others(case: Case) -> set[str]:
    return {"--to": {f"out/{case.name}"}, "--backup": {f"{case.name}.before"}}.get(case.way, set())


def _state(case: Case, folder: Path) -> str:
    """Whether the files are those before the fill (old) or after it (new), or neither (half)."""
    held = (folder / case.name).read_bytes()
    if case.way == "--to":
        copy = folder / "out" / case.name
        made = copy.read_bytes() if copy.exists() else case.old
        return _which(case, made) if held == case.old else "half"
    if case.way == "--backup":
        kept = (folder / f"{case.name}.before").read_bytes()
        # The backup takes its place first; between the two steps it is what the workbook still is.
        if kept != case.old and (kept != EARLIER or held != case.old):
            return "half"
    return _which(case, held)


def _which(case: Case, held: bytes) -> str:
    return "old" if held == case.old else "new" if held == case.new else "half"


def _fill_again(case: Case, folder: Path) -> None:
    if case.what != "fill":
        _run(case, folder).communicate()
        return
    to = folder / "out" / case.name if case.way == "--to" else None
    if to and to.exists():
        # A copy that is there is refused; the folder is tidied up all the same.
        other = folder / "out" / f"other.{case.ending}"
        fill(folder / case.name, other)
        other.unlink()
        return
    if to:
        to.parent.mkdir(exist_ok=True)
    fill(folder / case.name, to, backup=case.way == "--backup")


def campaign(
    kills: int, seed: int, kind: str = "KILL", book: str = "batch", what: str = "fill"
) -> dict[str, Counter[str]]:
    """Stop so many fills, in turn of each case; the counts for each. One that ended first is made up for."""
    counts: dict[str, Counter[str]] = {}
    with tempfile.TemporaryDirectory() as name:
        made = {"adopted": adopted_cases, "gather": gather_cases}.get(what)
        ready = made(Path(name)) if made else cases(Path(name), book)
        for number in range(LONGEST_TRY * kills):
            case = ready[number % len(ready)]
            with tempfile.TemporaryDirectory(dir=name) as folder:
                seen = stop_one(case, Path(folder), random.Random(f"{seed}-{number}"), kind)
            counts.setdefault(f"{case.ending} {case.way}", Counter()).update(seen)
            if sum(seen["stopped"] for seen in counts.values()) == kills:
                break
    return counts


def table(counts: dict[str, Counter[str]]) -> Iterator[str]:
    """The counts as lines, with their sum at the end."""
    yield f"{'':16}" + "".join(f"{column:>12}" for column in COLUMNS)
    total: Counter[str] = Counter()
    for name, seen in counts.items():
        total.update(seen)
        yield f"{name:16}" + "".join(f"{seen[column]:12}" for column in COLUMNS)
    yield f"{'all':16}" + "".join(f"{total[column]:12}" for column in COLUMNS)


def main() -> None:
    """Run a campaign, print its counts, and fail where a workbook was harmed or something was left."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--kills", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--signal", choices=("KILL", "INT", "TERM"), default="KILL")
    parser.add_argument("--what", choices=("fill", "adopted", "gather"), default="fill")
    wanted = parser.parse_args()
    counts = campaign(wanted.kills, wanted.seed, wanted.signal, what=wanted.what)
    print(f"SIG{wanted.signal}, seed {wanted.seed}")
    print("\n".join(table(counts)))
    sys.exit(any(seen[bad] for seen in counts.values() for bad in ("half", "litter", "said wrong")))


if __name__ == "__main__":
    main()
