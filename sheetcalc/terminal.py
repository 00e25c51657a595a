"""What came of workbooks, as a person reads it: a table on a terminal, plain lines in a pipe or a file."""

import shutil
import sys
import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from sheetcalc.findings import Finding, Level, printable, tally

if TYPE_CHECKING:
    from sheetcalc.filling import Done
    from sheetcalc.many import Outcome, Result

WORTH_A_BAR = 4  # workbooks
STYLES: dict[Level, str] = {"error": "bold red", "warning": "yellow", "note": "blue"}


def say(message: str, err: bool = False) -> None:
    """Print a sentence, on a terminal broken between words."""
    stream = sys.stderr if err else sys.stdout
    line = printable(message)
    if stream.isatty():
        width = shutil.get_terminal_size().columns - 1
        line = textwrap.fill(
            line, width, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False
        )
    print(line, file=stream, flush=True)


def shown(outcomes: "Iterable[Outcome[Result]]", count: int) -> "Iterator[Outcome[Result]]":
    """The outcomes, with a bar on a terminal while there are many to come."""
    if count < WORTH_A_BAR or not (sys.stdout.isatty() and sys.stderr.isatty()):
        yield from outcomes
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("Workbooks", total=count)
        for outcome in outcomes:
            yield outcome
            progress.advance(task)


def total(count: int, unusable: int, up_to_date: int, counted: Counter[Level]) -> str:
    """All workbooks in a line, such as '12 workbooks: 1 error; 9 were up to date; 1 could not be used.'"""
    rest = f"; {up_to_date} {'were' if up_to_date > 1 else 'was'} up to date" if up_to_date else ""
    rest += f"; {unusable} could not be used" if unusable else ""
    return f"{count} workbooks: {tally(counted.elements())}{rest}."


def summary(path: Path, done: "Done", most: int | None) -> None:
    """Print one workbook's findings, the most serious first; of many only the first `most`, notes of one rule
    once."""
    head = f"{path}: {tally(f.level for f in done.findings)}{' (up to date)' if done.up_to_date else ''}"
    told = list(done.findings)
    if most is not None and len(told) > most:
        told = list({f.rule if f.level == "note" else f: f for f in reversed(told)}.values())[::-1][:most]
    rest = len(done.findings) - len(told)
    more = [f"... and {rest} more in the workbook."] if rest else []
    print(printable(head))
    if sys.stdout.isatty():
        _table(told)
    else:
        for line in _lines(told):
            print(printable(line))
    for line in more:
        print(f"  {line}")


def _lines(found: Sequence[Finding]) -> Iterator[str]:
    for finding in found:
        yield f"  {finding.level.upper():8}{' '.join(_where(finding))} {finding.message}"
        yield f"          -> {finding.advice}"


def _table(found: Sequence[Finding]) -> None:
    """Level, cell and heading, then what is wrong and, paler, what to do."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(box=None, show_header=False, padding=(0, 1, 0, 1), pad_edge=True)
    for wrap in (False, True, True):
        table.add_column(no_wrap=not wrap)
    for finding in found:
        said = Text(printable(finding.message), style="bold" if finding.danger else "")
        said.append(f"\n{printable(finding.advice)}", style="dim")
        level = Text(finding.level.upper(), style=STYLES[finding.level])
        table.add_row(level, Text("\n".join(map(printable, _where(finding)))), said)
    Console(highlight=False).print(table)


def _where(finding: Finding) -> list[str]:
    """The cell, and its heading where it has one."""
    return [f"{finding.sheet}!{finding.cell}", *([f"[{finding.column}]"] if finding.column else [])]
