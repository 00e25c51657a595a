"""Workbooks filled when the person has saved them, as long as the command runs.

What tells is how the files look now, looked up again and again; what the system tells of changes only makes
that sooner. So a drive that tells nothing, a save by another file that is renamed, a folder that goes and
comes back are all the same matter.
"""

import contextlib
import glob
import os
import time
from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import NamedTuple

from sheetcalc import files, many
from sheetcalc.filling import Done, bring_up_to_date
from sheetcalc.findings import printable, tally

STILL = 1.0  # seconds a file has to stand still before it counts as saved
SOON = 0.25  # seconds between two looks while one is expected to
IDLE = 3.0  # seconds until the next look when nothing is told; a drive over a network may tell nothing
AWAY = 3.0  # seconds until a folder counts as gone; some programs save by deleting first
SAID = -1.0  # no moment: that it is gone was said already

Stamp = tuple[int, ...]


class Seen(NamedTuple):
    """How a file looks that is not dealt with yet, since when, and whether it was said that it is open."""

    stamp: Stamp
    since: float
    said: bool = False


class Known(NamedTuple):
    """How a file looked when it was last dealt with, and how it looked afterwards."""

    stamp: Stamp
    after: Stamp | None


def watch(names: Sequence[str], backup: bool = False) -> Iterator[str]:
    """Fill the workbooks that files, folders and patterns mean, now and after each save; never ends.

    Yields a line for each thing done, ready to be printed. A workbook that is open in a spreadsheet program
    is filled when it is closed there. One that can't be filled is told once, until it changes.
    Raises FileNotFoundError where there is no such file or folder at the start.
    """
    for name in names:
        if is_missing(name):
            raise FileNotFoundError(name)
    known: dict[Path, Known] = {}
    pending: dict[Path, Seen] = {}
    away: dict[str, float] = {}
    ready = False
    for _ in _looks(names, pending):
        yield from _away(names, away)
        stamps = _stamps(names)
        for path in known.keys() - stamps.keys():
            known.pop(path)
        for path in _saved(stamps, known, pending):
            yield from _deal(path, known, pending, backup)
        if not ready and all(seen.said for seen in pending.values()):
            ready = True
            count = f"{len(stamps)} workbook{'' if len(stamps) == 1 else 's'}"
            yield f"{time.strftime('%H:%M:%S')} {count} looked at; waiting for the next save"


def _looks(names: Sequence[str], pending: Mapping[Path, Seen]) -> Iterator[None]:
    """A turn to look whenever a file may have changed: something was told, or enough time has passed."""
    import watchfiles

    told: Iterator[object] = iter(())
    heard: list[Stamp | None] = []
    while True:
        yield
        folders = [Path(name) for name in names if Path(name).is_dir()]
        # A folder that was removed and made again is another one to the system.
        there = [stamp and stamp[:2] for stamp in map(_stamp, folders)]
        if there != heard:
            heard = there
            told = watchfiles.watch(
                *folders,
                watch_filter=None,
                debounce=500,
                rust_timeout=int(IDLE * 1000),
                yield_on_timeout=True,
                ignore_permission_denied=True,
            )
        expected = any(not seen.said for seen in pending.values())
        try:
            if expected or len(folders) < len(names):
                time.sleep(SOON if expected else STILL)
            elif next(told, None) is None:
                time.sleep(IDLE)
        except (OSError, RuntimeError):
            # The system has no room to tell of more files, or a folder is just going.
            time.sleep(IDLE)


def _stamps(names: Sequence[str]) -> dict[Path, Stamp]:
    """How each workbook looks that there is now."""
    stamps: dict[Path, Stamp | None] = {}
    for name in names:
        # A folder may go while it is looked through; the next look tells what is left.
        with contextlib.suppress(OSError):
            stamps |= {path: _stamp(path) for path in many.workbooks([name])}
    return {path: stamp for path, stamp in stamps.items() if stamp}


def _stamp(path: Path) -> Stamp | None:
    """What differs after every save, in whatever way it is made; None where there is no such file."""
    try:
        at = path.stat()
    except OSError:
        return None
    return at.st_dev, at.st_ino, at.st_size, at.st_mtime_ns


def _saved(
    stamps: Mapping[Path, Stamp], known: Mapping[Path, Known], pending: dict[Path, Seen]
) -> list[Path]:
    """The workbooks that look otherwise than when they were dealt with, and have stood still since."""
    now = time.monotonic()
    for path in pending.keys() - stamps.keys():
        pending.pop(path)
    for path, stamp in stamps.items():
        if path in known and known[path].stamp == stamp:
            pending.pop(path, None)
        elif path not in pending or pending[path].stamp != stamp:
            pending[path] = Seen(stamp, now)
    return [path for path, seen in pending.items() if now - seen.since >= STILL]


def _deal(path: Path, known: dict[Path, Known], pending: dict[Path, Seen], backup: bool) -> Iterator[str]:
    """Fill one workbook, or wait until it is closed; a line if there is something to tell."""
    seen = pending[path]
    if files.open_lock(path):
        if not seen.said:
            pending[path] = seen._replace(said=True)
            what = "saved" if path in known else "open"
            yield _line(path, f"{what}; it will be filled when it is closed")
        return
    (outcome,) = many.each([(path,)], partial(bring_up_to_date, backup=backup))
    after = _stamp(path)
    if outcome.trouble and after != seen.stamp:
        # Somebody is at it; what is there afterwards counts.
        return
    before = known.get(path)
    # How it looked before, since how it looks now may be somebody's next save already.
    known[path] = Known(seen.stamp, after)
    del pending[path]
    if outcome.result is None:
        yield _line(path, outcome.trouble)
    elif not outcome.result.up_to_date or (before and before.after != seen.stamp):
        yield _line(path, _in_words(outcome.result))


def _in_words(done: Done) -> str:
    """What a fill did and found, the worst of it in full unless it is a note."""
    told = f"{'up to date' if done.up_to_date else 'filled'}: {tally(f.level for f in done.findings)}"
    worst = next((f for f in done.findings if f.level != "note"), None)
    return f"{told}; {worst.sheet}!{worst.cell} {worst.message}" if worst else told


def _away(names: Sequence[str], away: dict[str, float]) -> Iterator[str]:
    """A line when a folder or file has gone, and when it is back."""
    now = time.monotonic()
    for name in names:
        if not is_missing(name):
            if away.pop(name, now) == SAID:
                yield _line(Path(name), "is back")
        elif now - away.setdefault(name, now) >= AWAY and away[name] != SAID:
            away[name] = SAID
            yield _line(Path(name), "is gone; waiting for it to come back")


def is_missing(name: str) -> bool:
    """Whether a file or folder is not there; a pattern may match nothing yet."""
    return not glob.has_magic(name) and not os.path.lexists(name)


def _line(path: Path, said: str) -> str:
    return printable(f"{time.strftime('%H:%M:%S')} {path}: {said}")
