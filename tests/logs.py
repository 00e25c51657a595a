"""Logs for the tests: a clean one of our own invention, typed into a workbook, to be spoilt on purpose."""

import copy
import importlib
import pkgutil
import shutil
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import planted
from demo import type_in

Log = dict[str, Any]

START = datetime(2026, 3, 2, 18, 0)
RUN = datetime(2026, 3, 16, 9, 0)


# Rule, what is done to the clean log, key of the cell at fault, record (None on a card).
Planted = tuple[str, Callable[[Log], None], str, int | None]


def sheets() -> dict[str, Any]:
    """The modules of planted/, by the key of their sheet."""
    names = sorted(info.name for info in pkgutil.iter_modules(planted.__path__))
    return {name: importlib.import_module(f"planted.{name}") for name in names}


def clean_log() -> Log:
    """A sugar wash of 25 L in a still of 10 L, metric, with nothing wrong in it (all invented)."""
    return {name: copy.deepcopy(module.CLEAN) for name, module in sheets().items()}


def typed(log: Log, blank: Path, path: Path) -> Path:
    """A copy of a blank workbook with the log typed into it."""
    shutil.copyfile(blank, path)
    type_in(path, log)
    return path


def spoilt(spoil: Callable[[Log], None]) -> Log:
    """The clean log with something done to it."""
    log = clean_log()
    spoil(log)
    return log


def records(log: Log, sheet: str) -> Any:
    """The records of a sheet; where it has a card, too, they stand under that name."""
    return log[sheet]["records"] if isinstance(log[sheet], dict) else log[sheet]


def put(sheet: str, record: int | None, **values: Any) -> Callable[[Log], None]:
    """Type other values into a record (or the card, with None) of a sheet."""

    def spoil(log: Log) -> None:
        (log[sheet] if record is None else records(log, sheet)[record]).update(values)

    return spoil
