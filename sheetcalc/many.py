"""Many workbooks: which files are meant, and several at a time without one stopping the rest."""

import glob
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Generic, TypeVar

from sheetcalc import interrupts
from sheetcalc.files import BadWorkbook

if TYPE_CHECKING:
    from concurrent.futures import Future, ProcessPoolExecutor

ENDINGS = (".xlsx", ".xlsm", ".ods")
WAITING = 4  # workbooks a process that are handed out ahead; so many outcomes may wait for an earlier one

# A workbook's path, and whatever else the work on it is given.
Task = tuple[Path, ...]
Result = TypeVar("Result")


@dataclass(frozen=True)
class Outcome(Generic[Result]):
    """What came of one workbook: what the work on it gave, or the sentence why it could not be used."""

    path: Path
    result: Result | None = None
    trouble: str = ""


def workbooks(names: Iterable[str]) -> list[Path]:
    """The workbooks that files, folders and patterns mean, each once, in order.

    A folder means the workbooks in it and below it, but no hidden or lock files. A name that means
    nothing is kept, so that whoever opens it can say so.
    """
    found: dict[Path, None] = {}
    for name in names:
        path = Path(name)
        if path.is_dir():
            meant = _in_folder(path)
        elif path.exists() or not glob.has_magic(name):
            meant = [path]
        else:
            matches = sorted(map(Path, glob.iglob(name, recursive=True)))  # noqa: PTH207 - takes absolute patterns
            meant = [match for match in matches if _is_workbook(match)] or [path]
        found |= dict.fromkeys(meant)
    return list(found)


def _in_folder(folder: Path) -> list[Path]:
    inside = sorted(path for path in folder.rglob("*") if _is_workbook(path))
    return [path for path in inside if not any(p.startswith(".") for p in path.relative_to(folder).parts)]


def _is_workbook(path: Path) -> bool:
    return path.suffix.lower() in ENDINGS and not path.name.startswith(("~$", ".~lock.")) and path.is_file()


def each(tasks: Sequence[Task], work: Callable[..., Result], jobs: int = 1) -> Iterator[Outcome[Result]]:
    """Do `work(*task)` for each workbook, in `jobs` processes; what came of each, in the order of the tasks.

    Trouble with one is told in its outcome and the rest goes on. Only a few outcomes are held at a time.
    """
    jobs = min(jobs, len(tasks))
    if jobs <= 1:
        yield from (_one(work, task) for task in tasks)
        return
    # One workbook alone is filled before these are loaded.
    from concurrent.futures import ProcessPoolExecutor

    with ProcessPoolExecutor(jobs, initializer=interrupts.end_with_parent) as pool:
        waiting = deque[tuple[Task, "Future[Outcome[Result]]"]]()
        for task in tasks:
            if len(waiting) == WAITING * jobs:
                yield _result(*waiting.popleft())
            waiting.append((task, _submit(pool, work, task)))
        while waiting:
            yield _result(*waiting.popleft())


def _submit(
    pool: "ProcessPoolExecutor", work: Callable[..., Result], task: Task
) -> "Future[Outcome[Result]]":
    from concurrent.futures import Future
    from concurrent.futures.process import BrokenProcessPool

    try:
        return pool.submit(_one, work, task)
    except BrokenProcessPool as trouble:
        failed: Future[Outcome[Result]] = Future()
        failed.set_exception(trouble)
        return failed


def _result(task: Task, future: "Future[Outcome[Result]]") -> Outcome[Result]:
    from concurrent.futures.process import BrokenProcessPool

    try:
        return future.result()
    except BrokenProcessPool:
        return Outcome(task[0], trouble="The process that worked on it was ended from outside; try again.")


def _one(work: Callable[..., Result], task: Task) -> Outcome[Result]:
    try:
        return Outcome(task[0], work(*task))
    except BadWorkbook as trouble:
        return Outcome(task[0], trouble=str(trouble))
    except OSError as trouble:
        return Outcome(task[0], trouble=f"{trouble.strerror or trouble}.")


def copies(paths: Iterable[Path], folder: Path) -> dict[Path, Path]:
    """Where the filled copy of each workbook goes; makes the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    return {path: folder / path.name for path in paths}
