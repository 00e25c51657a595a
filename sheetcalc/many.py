"""Many workbooks: which files are meant, and one after the other without one stopping the rest."""

import glob
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from sheetcalc.files import BadWorkbook
from sheetcalc.findings import Finding

ENDINGS = (".xlsx", ".xlsm", ".ods")


@dataclass(frozen=True)
class Outcome:
    """What came of one workbook: its findings, or the sentence why it could not be used."""

    path: Path
    findings: tuple[Finding, ...] = ()
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


def each(paths: Iterable[Path], work: Callable[[Path], tuple[Finding, ...]]) -> Iterator[Outcome]:
    """Do the work on each workbook; trouble with one is told in its outcome and the rest goes on."""
    for path in paths:
        try:
            yield Outcome(path, work(path))
        except BadWorkbook as trouble:
            yield Outcome(path, trouble=str(trouble))
        except OSError as trouble:
            yield Outcome(path, trouble=f"{trouble.strerror or trouble}.")


def copies(paths: Iterable[Path], folder: Path) -> dict[Path, Path]:
    """Where the filled copy of each workbook goes; makes the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    return {path: folder / path.name for path in paths}
