"""What is said to the person about one cell, and the forms it is said in."""

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    import pandas

Level = Literal["error", "warning", "note"]
# Control signs, those that turn the direction of writing, line ends, halves of characters.
_STEERING = re.compile("[\0-\x1f\x7f-\x9f\u200e\u200f\u061c\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
LONGEST_FLAGS = 32_000  # a cell holds 32,767 characters
LEVELS: tuple[Level, ...] = ("error", "warning", "note")


@dataclass(frozen=True)
class Finding:
    """One flag: how serious, on which cell, what is wrong and what to do.

    `danger` tells that somebody could be hurt. `sheet` and `column` are the tab and the heading as they stand
    in the workbook now; `row` and `place` are the cell's row and column, from 1.
    """

    level: Level
    sheet: str
    column: str
    row: int
    place: int
    rule: str
    message: str
    advice: str
    danger: bool = False

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
    """The most serious first; of each weight as they stand in the workbook."""
    return sorted(findings, key=lambda finding: weight(finding.level, finding.danger))


def weight(level: Level, danger: bool) -> tuple[bool, int, bool]:
    """What findings are sorted by: what is dangerous now, then errors, warnings and notes.

    A note of danger only reminds, and comes last.
    """
    return not danger or level == "note", LEVELS.index(level), danger


def flag_text(findings: Iterable[Finding], between: str = "\n") -> str:
    """The text of a row's flags cell: one finding a line, the most serious first; '' for none.

    between: what stands between two of them. The conditional formats of our sheets look for the level's word
    and for the heading in brackets.
    """
    lines = [f"{f.level.upper()} [{f.column}] {f.message} {f.advice}" for f in by_weight(findings)]
    text = between.join(lines)
    while len(text) > LONGEST_FLAGS:
        lines.pop()
        text = between.join([*lines, "... and more on the findings sheet."])
    return text


def printable(text: str) -> str:
    """Text as it may go to a terminal: what would steer it or turn the writing is written out (\\x1b)."""
    return _STEERING.sub(lambda sign: sign[0].encode("unicode_escape").decode("ascii"), text)


def as_frame(findings: Iterable[Finding], file: str = "") -> "pandas.DataFrame":
    """Findings as a pandas data frame: a row each, with the columns and names of the JSON lines.

    file: the workbook's name, for frames of several workbooks put together.
    """
    import pandas

    rows = [_told(finding, file) for finding in findings]
    return pandas.DataFrame(rows, columns=list(_TOLD))


def as_json(finding: Finding, file: str) -> str:
    """One finding as one line of JSON."""
    import json

    line = json.dumps(_told(finding, file), ensure_ascii=False)
    return _STEERING.sub(lambda sign: f"\\u{ord(sign[0]):04x}", line)


_TOLD = ("file", "sheet", "cell", "column", "level", "danger", "rule", "message", "advice")


def _told(finding: Finding, file: str) -> dict[str, Any]:
    return {key: file if key == "file" else getattr(finding, key) for key in _TOLD}


def tally(levels: Iterable[Level]) -> str:
    """How many of each level, in words, such as '1 error, 2 warnings'; 'nothing found' for none."""
    counted = Counter(levels)
    counts = [(counted[level], level) for level in LEVELS]
    return ", ".join(f"{n} {level}{'s' * (n > 1)}" for n, level in counts if n) or "nothing found"
