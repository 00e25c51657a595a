"""What is said to the person about one cell, and the forms it is said in."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Level = Literal["error", "warning", "note"]
LEVELS: tuple[Level, ...] = ("error", "warning", "note")


@dataclass(frozen=True)
class Finding:
    """One flag: how serious, on which cell, what is wrong and what to do.

    `sheet` and `column` are the tab and the heading as they stand in the workbook now; `row` and
    `place` are the cell's row and column, from 1.
    """

    level: Level
    sheet: str
    column: str
    row: int
    place: int
    rule: str
    message: str
    advice: str

    @property
    def cell(self) -> str:
        """The cell's address, such as B7."""
        return address(self.row, self.place)


def address(row: int, column: int) -> str:
    """Row and column numbers from 1 -> a cell's address, such as B7."""
    letters = ""
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return f"{letters}{row}"


def by_weight(findings: Iterable[Finding]) -> list[Finding]:
    """The most serious first; within a level as they stand in the workbook."""
    return sorted(findings, key=lambda finding: LEVELS.index(finding.level))


def flag_text(findings: Iterable[Finding]) -> str:
    """The text of a row's flags cell: one finding a line, the most serious first; '' for none.

    The conditional formats of the sheet look for the level's word and for the heading in brackets.
    """
    return "\n".join(f"{f.level.upper()} [{f.column}] {f.message} {f.advice}" for f in by_weight(findings))


def as_json(finding: Finding, file: str) -> str:
    """One finding as one line of JSON."""
    return json.dumps(
        {
            "file": file,
            "sheet": finding.sheet,
            "cell": finding.cell,
            "column": finding.column,
            "level": finding.level,
            "rule": finding.rule,
            "message": finding.message,
            "advice": finding.advice,
        },
        ensure_ascii=False,
    )


def tally(findings: Iterable[Finding]) -> str:
    """How many of each level, in words, such as '1 error, 2 warnings'; 'nothing found' for none."""
    levels = [finding.level for finding in findings]
    counts = [(levels.count(level), level) for level in LEVELS]
    return ", ".join(f"{n} {level}{'s' * (n > 1)}" for n, level in counts if n) or "nothing found"
