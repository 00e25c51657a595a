"""Saves a workbook over and over, each time stopped one line of the saving code later, until one save ends.

Usage: python at_every_line.py WORKBOOK FOLDER SIGNAL WAY [inside]      (WAY: in-place, backup or to)

With `inside` also at every line of the standard library that the saving code runs. For each save it prints a
line of JSON: what it was stopped at, how the process ended, the content of every file, and what stays of them
when the folder was tidied.
"""

import contextlib
import hashlib
import json
import os
import shutil
import signal
import sys
import tempfile
from pathlib import Path
from types import FrameType
from typing import Any

from sheetcalc import interrupts
from sheetcalc.files import open_workbook, replacing

SAVING = {module.__file__ for module in (replacing, interrupts)}
INSIDE = {module.__file__ for module in (contextlib, tempfile)}


def stop_at(line: int, number: int) -> None:
    """From now on count the lines of the saving code that are run, and send the signal at this one."""
    seen = 0

    def trace(frame: FrameType, event: str, _: Any) -> Any:
        nonlocal seen
        if frame.f_code.co_filename not in SAVING:
            return None
        if event == "line":
            if seen == line:
                place = f"{Path(frame.f_code.co_filename).name}:{frame.f_lineno}\n"
                os.write(1, place.encode())
                seen += 1
                os.kill(os.getpid(), number)
            seen += 1
        return trace

    sys.settrace(trace)


def save(folder: Path, way: str) -> None:
    """The save that is stopped."""
    book = open_workbook(folder / "log")
    book.write(book.sheets[0], 1, 1, 6)
    if way == "to":
        book.save(folder / "copy")
    else:
        book.save(backup_ending=".before" if way == "backup" else None)


def stopped(line: int, folder: Path, number: int, way: str) -> tuple[str, int]:
    """Where a process of its own was stopped ('' where it ended by itself), and its exit code."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.dup2(writing, 1)
        os.close(reading)
        interrupts.end_at_once()
        stop_at(line, number)
        save(folder, way)
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as place:
        where = place.read().strip()
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    return where, status


def main(source: Path, folder: Path, number: int, way: str) -> None:
    """Stop at the first line, the second, and so on."""
    line = 0
    while True:
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        shutil.copyfile(source, folder / "log")
        (folder / "log.before").write_bytes(b"earlier")
        where, status = stopped(line, folder, number, way)
        held = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir()}
        replacing.remove_abandoned(folder)
        names = sorted(p.name for p in folder.iterdir())
        print(json.dumps({"where": where, "status": status, "held": held, "tidied": names}), flush=True)
        if not where:
            break
        line += 1


if __name__ == "__main__":
    if sys.argv[5:] == ["inside"]:
        SAVING |= INSIDE
    main(Path(sys.argv[1]), Path(sys.argv[2]), getattr(signal, sys.argv[3]), sys.argv[4])
