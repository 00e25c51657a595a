"""What `fill` and `check` do and print: apart from the parser of options, which takes longer to load than a
fill to be done."""

import os
from collections import Counter
from collections.abc import Iterable, Sequence
from functools import partial
from pathlib import Path

from sheetcalc import filling, findings, layouts, many, terminal
from sheetcalc.filling import Done
from sheetcalc.findings import Level
from sheetcalc.many import Outcome

WORTH_PROCESSES = 4  # workbooks; fewer are done before a second process has started


def fill(
    names: Sequence[str],
    to: Path | None = None,
    backup: bool = False,
    again: bool = False,
    layout: Path | None = None,
    jobs: int | None = None,
) -> int:
    """Fill the workbooks that are meant, and print what was found; the exit code.

    names: of files, folders and patterns; to: a folder for filled copies; backup, again, layout: as in
    `filling.fill`; jobs: workbooks done at a time, None for one a processor.
    """
    if backup and to:
        return _refuse(
            "--backup keeps what a fill in place replaces, and --to replaces nothing; leave one of them out."
        )
    try:
        own = filling.own_layout(layout)
    except layouts.LayoutError as trouble:
        return _refuse(str(trouble))
    books = many.workbooks(names)
    try:
        copies = many.copies(books, to) if to else {}
    except FileExistsError:
        return _refuse(f"{to} is a file; --to names a folder.")
    except OSError as trouble:
        return _refuse(f"{to}: this folder can't be used: {trouble.strerror}.")
    tasks = [(path, copies[path]) if to else (path,) for path in books]
    work = partial(filling.bring_up_to_date, backup=backup, again=again, layout=own)
    return _tell(many.each(tasks, work, processes(jobs, books)), names, books, copies, most=5)


def check(
    names: Sequence[str], as_json: bool = False, layout: Path | None = None, jobs: int | None = None
) -> int:
    """Look through the workbooks that are meant, and print what was found; the exit code.

    as_json: a finding a line; names, layout, jobs: as in `fill`.
    """
    try:
        own = filling.own_layout(layout)
    except layouts.LayoutError as trouble:
        return _refuse(str(trouble))
    books = many.workbooks(names)
    work = partial(filling.look_through, layout=own)
    outcomes = many.each([(path,) for path in books], work, processes(jobs, books))
    return _tell(outcomes, names, books, {}, as_json=as_json)


def processes(wanted: int | None, books: Sequence[Path]) -> int:
    """How many to work with: those wanted, or one for each processor where it is worth starting them."""
    return wanted or (os.cpu_count() or 1 if len(books) >= WORTH_PROCESSES else 1)


def _refuse(why: str) -> int:
    terminal.say(why, err=True)
    return 2


def _tell(
    outcomes: Iterable[Outcome[Done]],
    names: Sequence[str],
    books: Sequence[Path],
    copies: dict[Path, Path],
    most: int | None = None,
    as_json: bool = False,
) -> int:
    """Print what came of each workbook as it comes; the exit code of the contract."""
    counted, unusable, up_to_date = Counter[Level](), 0, 0
    for outcome in terminal.shown(outcomes, len(books)):
        done = outcome.result
        if done is None:
            terminal.say(f"{outcome.path}: {outcome.trouble}", err=True)
            unusable += 1
            continue
        if as_json:
            for finding in done.findings:
                print(findings.as_json(finding, str(outcome.path)))
        else:
            terminal.summary(copies.get(outcome.path, outcome.path), done, most)
        counted.update(finding.level for finding in done.findings)
        up_to_date += done.up_to_date
    if not books:
        terminal.say(f"There is no workbook (.xlsx, .xlsm or .ods) in {', '.join(names)}.", err=True)
    elif len(books) > 1 and not as_json:
        print(terminal.total(len(books), unusable, up_to_date, counted))
    return 2 if unusable or not books else int(counted["error"] > 0)
