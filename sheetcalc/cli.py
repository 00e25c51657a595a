"""The commands."""

import difflib
import os
import shutil
import sys
import textwrap
from collections import Counter
from collections.abc import Iterable
from functools import partial
from io import TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, NoReturn

import typer

from sheetcalc import __version__

if TYPE_CHECKING:
    from sheetcalc.adopted import Adopted
    from sheetcalc.filling import Done
    from sheetcalc.findings import Level
    from sheetcalc.many import Outcome

app = typer.Typer(
    name="sheetcalc",
    help="""Fills a small-batch distiller's own Excel or ODS log: true strength, water to add, what a run
    should give, and what does not add up.

    \b
      sheetcalc new batch plum.xlsx      a workbook for one wash
      ...                                type your readings, save, close
      sheetcalc fill plum.xlsx           results and flags stand in it

    Distilling is often licensed or forbidden: check your own local law first.""",
    no_args_is_help=True,
    add_completion=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

WORTH_PROCESSES = 4  # workbooks; fewer are done before a second process has started
Jobs = Annotated[
    int | None,
    typer.Option(min=1, metavar="N", help="Workbooks done at a time; without it, one a processor."),
]
Layout = Annotated[
    Path | None,
    typer.Option("--layout", metavar="FILE.toml", help="For workbooks of your own, as 'adopt' proposes it."),
]
Paths = Annotated[list[str], typer.Argument(metavar="PATH...", help="Files, folders or patterns.")]


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"sheetcalc {__version__}")
        raise typer.Exit


@app.callback()
def main(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    """Shared by all commands."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            # A terminal that lacks a sign of somebody's words shows its number.
            stream.reconfigure(errors="backslashreplace")


@app.command()
def new(
    kind: Annotated[
        str, typer.Argument(metavar="batch|bench", help="batch: one wash to the bottle. bench: daily work.")
    ],
    path: Annotated[
        Path | None,
        typer.Argument(metavar="PATH", help="The file to make; its ending, .xlsx or .ods, picks the format."),
    ] = None,
    units: Annotated[
        Literal["metric", "us"] | None,
        typer.Option(
            help="L, g, °C, % vol; or gal, oz, °F, proof. Without it metric, or those of the register.",
        ),
    ] = None,
    like: Annotated[
        Path | None, typer.Option(metavar="REGISTER", help="Start the batch card with what a register knows.")
    ] = None,
    still: Annotated[
        str, typer.Option(metavar="NAME", help="The still, where that register has several.")
    ] = "",
) -> None:
    """Make a new workbook, ready to type into.

    \b
    sheetcalc new batch plum-2026.ods
    sheetcalc new batch rye.xlsx --units us
    sheetcalc new batch plum-2027.ods --like register.xlsx --still "Copper pot"
    """
    from sheetcalc import files, interrupts, layouts, making

    if path is None:
        name = kind if Path(kind).suffix else "plum-2026.xlsx"
        _stop(f"Name what to make and the file, such as: sheetcalc new batch {name}")
    if kind not in layouts.kinds():
        meant = difflib.get_close_matches(kind, layouts.kinds(), n=1)
        hint = f" Did you mean '{meant[0]}'?" if meant else ""
        _stop(f"There is no workbook '{kind}'; choose {' or '.join(layouts.kinds())}.{hint}")
    if (like or still) and kind != "batch":
        _stop("--like and --still start a batch card, which only a batch has; leave them out.")
    if still and not like:
        _stop("--still names a still of a register; name that, too: --like REGISTER.")
    taken: list[str] = []
    try:
        with interrupts.held_back():
            if like:
                taken = making.new_like(like, still, path, units)
            else:
                making.new(kind, path, units or "metric")
    except files.BadWorkbook as trouble:
        _stop(f"{like or path}: {trouble}")
    except (layouts.LayoutError, ValueError, FileExistsError, FileNotFoundError) as trouble:
        _stop(str(trouble))
    except OSError as trouble:
        _stop(f"{path}: {trouble.strerror}.")
    if like:
        _say(f"Typed on its batch card from {like}, as proposals that you can change:")
        for proposal in taken:
            _say(f"  {proposal}")
    _say(f"Made {path}. Type your readings, save and close it, then run: sheetcalc fill {path}")


@app.command()
def fill(
    paths: Paths,
    to: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Write filled copies there and leave the originals.")
    ] = None,
    backup: Annotated[
        bool, typer.Option("--backup", help="Keep the version before beside each, as NAME.before.")
    ] = False,
    again: Annotated[bool, typer.Option("--again", help="Compute those that are up to date, too.")] = False,
    layout: Layout = None,
    jobs: Jobs = None,
) -> None:
    """Compute, and write results and flags into workbooks.

    Nothing else in them changes. Fill them as often as you like.

    \b
    sheetcalc fill plum.xlsx
    sheetcalc fill logs                  every workbook in a folder
    sheetcalc fill plum.xlsx --backup    rename plum.xlsx.before to go back
    sheetcalc fill "logs/2026*.ods" --to filled
    sheetcalc fill brennbuch.xlsx --layout brennbuch.layout.toml
    """
    from sheetcalc import filling, many

    if backup and to:
        _stop(
            "--backup keeps what a fill in place replaces, and --to replaces nothing; leave one of them out."
        )
    own = _layout(layout)
    books = many.workbooks(paths)
    try:
        copies = many.copies(books, to) if to else {}
    except FileExistsError:
        _stop(f"{to} is a file; --to names a folder.")
    except OSError as trouble:
        _stop(f"{to}: this folder can't be used: {trouble.strerror}.")
    tasks = [(path, copies[path]) if to else (path,) for path in books]
    work = partial(filling.bring_up_to_date, backup=backup, again=again, layout=own)
    _tell(many.each(tasks, work, _jobs(jobs, books)), paths, books, copies, most=5)


@app.command()
def check(
    paths: Paths,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a finding, one a line.")] = False,
    layout: Layout = None,
    jobs: Jobs = None,
) -> None:
    """Check workbooks and print what was found; writes nothing.

    Ends with 1 where an error was found, with 2 where a file could not be used.

    \b
    sheetcalc check plum.xlsx
    sheetcalc check logs --json > findings.jsonl
    """
    from sheetcalc import filling, many

    books = many.workbooks(paths)
    work = partial(filling.look_through, layout=_layout(layout))
    outcomes = many.each([(path,) for path in books], work, _jobs(jobs, books))
    _tell(outcomes, paths, books, {}, as_json=as_json)


@app.command()
def gather(
    paths: Paths,
    to: Annotated[
        Path,
        typer.Option(metavar="REGISTER", help="The register: .xlsx or .ods; .csv or .parquet for others."),
    ],
    units: Annotated[
        Literal["metric", "us"], typer.Option(help="Of a new register; one that is there keeps its own.")
    ] = "metric",
    jobs: Jobs = None,
) -> None:
    """Gather batches into one register, a line each.

    The workbooks are only read. A register that is there is brought up to date: what you added to it
    stays, and stays with its batch.

    \b
    sheetcalc gather logs --to register.xlsx
    sheetcalc gather logs --to batches.csv
    """
    from sheetcalc import batches, files, gathering, many, terminal

    books = [path for path in many.workbooks(paths) if path.absolute() != to.absolute()]
    try:
        gathering.refuse(to)
        outcomes = many.each([(path,) for path in books], batches.read, _jobs(jobs, books))
        report = gathering.gather(terminal.shown(outcomes, len(books)), to, units)
    except (files.BadWorkbook, ValueError, OSError) as trouble:
        _stop(f"{to}: {trouble}")
    for path, why in report.trouble:
        _say(f"{path}: {why}", err=True)
    for name in report.left_out:
        _say(f"{name}: there is no batch card in it; left out.")
    for told in report.remarks:
        _say(f"{told.workbook}: {told.message} {told.advice}")
    _say(gathering.in_words(report, to), err=not books)
    raise typer.Exit(2 if report.trouble or not books else int(report.levels["error"] > 0))


@app.command()
def watch(
    paths: Paths,
    backup: Annotated[
        bool, typer.Option("--backup", help="Keep the version before beside each, as NAME.before.")
    ] = False,
) -> None:
    """Fill workbooks whenever you have saved and closed them.

    While a workbook is open in your spreadsheet program, it waits: it would write over what you do there.
    Ctrl-C ends it.

    \b
    sheetcalc watch logs
    """
    from sheetcalc import watching

    for path in filter(watching.is_missing, paths):
        _stop(f"{path}: there is no such file or folder.")
    _say(f"Watching {', '.join(paths)}; Ctrl-C ends it.")
    try:
        for line in watching.watch(paths, backup):
            _say(line)
    except FileNotFoundError as trouble:
        _stop(f"{trouble}: there is no such file or folder.")


@app.command()
def adopt(
    path: Annotated[Path, typer.Argument(help="A workbook of your own: .xlsx, .xlsm or .ods.")],
    to: Annotated[
        Path | None,
        typer.Option(metavar="FILE.toml", help="The layout file to write; else NAME.layout.toml beside it."),
    ] = None,
    replace: Annotated[
        bool,
        typer.Option("--replace", help="Replace a layout file that is there; it is kept as NAME.before."),
    ] = False,
) -> None:
    """Propose how to fill a workbook of your own.

    Its headings are recognised and listed in a layout file, for you to check and change. Nothing is written
    into the workbook.

    \b
    sheetcalc adopt brennbuch.xlsx
    sheetcalc fill brennbuch.xlsx --layout brennbuch.layout.toml
    """
    from sheetcalc import adopt, files

    try:
        told = adopt.propose(path, to, replace)
    except (files.BadWorkbook, OSError) as trouble:
        _stop(f"{path}: {trouble}")
    for line in told:
        _say(line)


def _layout(path: Path | None) -> "Adopted | None":
    """The layout file of a person's own workbook, where one is named."""
    from sheetcalc import adopted, layouts

    try:
        return adopted.load(path) if path else None
    except layouts.LayoutError as trouble:
        _stop(str(trouble))


def _jobs(wanted: int | None, books: list[Path]) -> int:
    """The processes to work with: those wanted, or one for each processor where it is worth starting them."""
    return wanted or (os.cpu_count() or 1 if len(books) >= WORTH_PROCESSES else 1)


def _tell(
    outcomes: "Iterable[Outcome[Done]]",
    paths: list[str],
    books: list[Path],
    copies: dict[Path, Path],
    most: int | None = None,
    as_json: bool = False,
) -> None:
    """Print what came of each workbook as it comes, and end with the exit code of the contract."""
    from sheetcalc import findings, terminal

    counted, unusable, up_to_date = Counter["Level"](), 0, 0
    for outcome in terminal.shown(outcomes, len(books)):
        done = outcome.result
        if done is None:
            _say(f"{outcome.path}: {outcome.trouble}", err=True)
            unusable += 1
            continue
        if as_json:
            for finding in done.findings:
                typer.echo(findings.as_json(finding, str(outcome.path)))
        else:
            terminal.summary(copies.get(outcome.path, outcome.path), done, most)
        counted.update(finding.level for finding in done.findings)
        up_to_date += done.up_to_date
    if not books:
        _say(f"There is no workbook (.xlsx, .xlsm or .ods) in {', '.join(paths)}.", err=True)
    elif len(books) > 1 and not as_json:
        typer.echo(terminal.total(len(books), unusable, up_to_date, counted))
    raise typer.Exit(2 if unusable or not books else int(counted["error"] > 0))


def _say(message: str, err: bool = False) -> None:
    from sheetcalc import findings

    line = findings.printable(message)
    if (sys.stderr if err else sys.stdout).isatty():
        width = shutil.get_terminal_size().columns - 1
        line = textwrap.fill(
            line, width, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False
        )
    typer.echo(line, err=err)


def _stop(message: str) -> NoReturn:
    _say(message, err=True)
    raise typer.Exit(2)
