"""Fills under conditions the tests can only make in a process of its own; run by test_faults.py.

Usage: python hard_times.py CONDITION WORKBOOK [MORE]

Prints a line of JSON for each fill: what was said ('' where nothing was) and, for a full disk, what it holds.
"""

import contextlib
import json
import os
import resource
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from sheetcalc.filling import fill
from sheetcalc.many import each

NOBODY = 65534
STEP = 4096


def told(path: Path, to: Path | None = None, backup: bool = False) -> dict[str, object]:
    """Fill; what a person would be told."""
    (outcome,) = each([(path,)], lambda book: fill(book, to, backup))
    return {"trouble": outcome.trouble}


def show(seen: dict[str, object]) -> None:
    """One line for the tests to read."""
    print(json.dumps(seen), flush=True)


def ordinary(path: Path, *groups: str) -> None:
    """Fill as somebody who is not allowed everything; before, another fill loads what that needs."""
    spare = path.with_name(f"spare{path.suffix}")
    shutil.copyfile(path, spare)
    fill(spare)
    spare.unlink()
    if os.geteuid() == 0:
        os.setgroups([int(group) for group in groups])
        os.setgid(NOBODY)
        os.setuid(NOBODY)
    show(told(path))


def largest(path: Path) -> None:
    """Fill where no file may become larger than half the workbook."""
    half = path.stat().st_size // 2
    resource.setrlimit(resource.RLIMIT_FSIZE, (half, half))
    show(told(path))
    show(told(path, path.with_name(f"copy{path.suffix}")))


def full(path: Path, size: str, way: str) -> None:
    """Fill on a disk of its own that is full but for nothing, one page, two pages ...

    Wants to be run where it may mount (unshare).
    """
    disk = path.with_name("disk")
    disk.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "none", disk], check=True)
    book, filler = disk / path.name, disk / "filler"
    kept, copy = disk / f"{path.name}.before", disk / f"copy{path.suffix}"
    for room in range(40):
        for old in disk.iterdir():
            old.unlink()
        shutil.copyfile(path, book)
        with filler.open("wb") as file, contextlib.suppress(OSError):
            while True:
                os.write(file.fileno(), bytes(STEP))
        os.truncate(filler, max(0, filler.stat().st_size - room * STEP))
        seen = told(book, copy if way == "to" else None, way == "backup")
        seen["held"] = [place.read_bytes().hex() if place.exists() else "" for place in (book, kept, copy)]
        seen["strange"] = sorted(
            place.name for place in disk.iterdir() if place not in (book, kept, copy, filler)
        )
        show(seen)


def frozen(path: Path) -> None:
    """Fill on a disk that is mounted to be read only. Wants to be run where it may mount (unshare)."""
    disk = path.with_name("disk")
    disk.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "none", disk], check=True)
    shutil.copyfile(path, disk / path.name)
    subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
    show(told(disk / path.name))
    show(told(path, disk / "copy.xlsx"))


def killed(path: Path) -> None:
    """Fill, and be killed when what is written has to reach the disk; shows what is in the folder then."""

    def end(fd: object) -> None:
        os.kill(os.getpid(), signal.SIGKILL)

    child = os.fork()
    if not child:
        os.fsync = end
        fill(path)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    names = sorted(place.name for place in path.parent.iterdir())
    show({"signal": os.waitstatus_to_exitcode(status), "names": names})


if __name__ == "__main__":
    conditions: dict[str, Callable[..., None]] = {
        "ordinary": ordinary,
        "largest": largest,
        "full": full,
        "frozen": frozen,
        "killed": killed,
    }
    conditions[sys.argv[1]](Path(sys.argv[2]), *sys.argv[3:])
