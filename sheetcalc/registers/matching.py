"""Which line of a register belongs to which workbook, whatever was renamed."""

from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple


class Known(NamedTuple):
    """What a batch is known by: its file, as a path from the register, and its code as it is compared."""

    file: str
    code: str


def match(lines: Sequence[Known], gathered: Sequence[Known], gone: set[str]) -> list[int | None]:
    """For each gathered batch the place of its line, None where it has none yet.

    First come file and code together. Then the code alone, where only one line and one workbook have it and
    the line's file is in `gone`, or holds another batch now: the file was renamed, or its name went on to
    another batch. Then the file alone: the code was changed.
    """
    found: list[int | None] = [None] * len(gathered)
    free = dict.fromkeys(range(len(lines)))

    def take(batch: int, line: int) -> None:
        found[batch] = line
        del free[line]

    exact = {known: place for place, known in reversed(list(enumerate(lines)))}
    for batch, known in enumerate(gathered):
        if exact.get(known) in free:
            take(batch, exact[known])
    files = {known.file for known in gathered}
    homeless = [n for n in free if lines[n].file in gone or lines[n].file in files or not lines[n].file]
    by_code = _only({n: lines[n].code for n in homeless})
    wanting = _only({n: gathered[n].code for n, line in enumerate(found) if line is None})
    for code, batch in wanting.items():
        if code in by_code:
            take(batch, by_code[code])
    by_file = {lines[n].file: n for n in reversed(list(free)) if lines[n].file}
    for batch, known in enumerate(gathered):
        if found[batch] is None and known.file in by_file:
            take(batch, by_file.pop(known.file))
    return found


def _only(codes: dict[int, str]) -> dict[str, int]:
    """The codes that stand there once, and where."""
    counted = Counter(codes.values())
    return {code: place for place, code in codes.items() if code and counted[code] == 1}
