"""How a stage declares its columns and checks, and how they are kept.

A column is a plain function: its parameters are the keys it needs, its result is its column. A check is
one too; its result says which rows are at fault. A key is looked for on the sheet itself, then on the
batch card; `<sheet>_<key>` names a key of another sheet.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from sheetcalc.findings import Level

Function = Callable[..., Any]
F = TypeVar("F", bound=Function)


@dataclass(frozen=True)
class Column:
    """A computed column: the function, the keys it needs, and what is told of it with `column`."""

    function: Function
    needs: tuple[str, ...]
    across: bool
    by_row: bool
    model: float
    decided: bool


@dataclass(frozen=True)
class Check:
    """A check: its rule's name, the key of the cell it speaks of, its level, sentence and advice.

    `says` and `advice` may hold keys in braces; they are shown in the unit of their column. `danger` where
    somebody could be hurt, `due` where it tells what the work asks for next.
    """

    rule: str
    cell: str
    level: Level
    says: str
    advice: str
    function: Function
    needs: tuple[str, ...]
    danger: bool
    due: bool


# Around what is said where somebody could be hurt.
DANGER, RULES = "Danger. ", " Keep to your local law and rules."

COLUMNS: dict[str, dict[str, Column]] = {}
CHECKS: dict[str, list[Check]] = {}


def column(
    sheet: str, *, across: bool = False, by_row: bool = False, model: float = 0.0, decided: bool = False
) -> Callable[[F], F]:
    """Declare a function as the computed column of its own name on a sheet.

    `across` tells that its result in one row depends on what stands in other rows of the sheet; `by_row`
    that each row of it comes from that row and from single values alone, so that the rows of several
    computations may be done in one; `model` is the standard uncertainty, in base units, that it has even
    where all it needs is known; `decided` that the person acts by it, so that later results take it as it
    is, however well it was known.
    """

    def keep(function: F) -> F:
        kept = Column(function, _parameters(function), across, by_row, model, decided)
        COLUMNS.setdefault(sheet, {})[function.__name__] = kept
        return function

    return keep


def add_column(name: str, sheet: str, function: Function, needs: tuple[str, ...]) -> None:
    """Declare a function of the keys it needs as a column of a sheet, as `column` does."""
    COLUMNS.setdefault(sheet, {})[name] = Column(function, needs, False, False, 0.0, False)


def check(
    sheet: str, *, cell: str, level: Level, says: str, advice: str, danger: bool = False, due: bool = False
) -> Callable[[F], F]:
    """Declare a function as a check of a sheet.

    `danger` where somebody could be hurt: it is told in stronger words, an error or a warning before
    everything else, and the advice sends to the local rules, too. `due` where it tells what comes next: the
    first sheet says it, while that is the stage the work has reached.

    It returns an array of booleans over the rows (one boolean for a card), or a pair of that and a
    dictionary of more values to show: name -> (values in base units, key of the column to show them
    like). Under `fits` it may hold the least and the most that would fit in the cell; a slip of the hand that
    explains the value is then named.
    """

    def keep(function: F) -> F:
        told = (DANGER + says, advice + RULES) if danger else (says, advice)
        needs = _parameters(function)
        add_check(function.__name__, sheet, cell, level, *told, function, needs, danger, due)
        return function

    return keep


def add_check(
    rule: str,
    sheet: str,
    cell: str,
    level: Level,
    says: str,
    advice: str,
    function: Function,
    needs: tuple[str, ...],
    danger: bool = False,
    due: bool = False,
) -> None:
    """Declare a function of the keys it needs as a check of a sheet, as `check` does."""
    CHECKS.setdefault(sheet, []).append(Check(rule, cell, level, says, advice, function, needs, danger, due))


def _parameters(function: Function) -> tuple[str, ...]:
    code = function.__code__
    return code.co_varnames[: code.co_argcount]
