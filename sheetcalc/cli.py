"""The commands."""

import difflib
from pathlib import Path
from typing import Annotated, Any, NoReturn

import typer

from sheetcalc import __version__

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

SYSTEMS = ("metric", "us")  # as layouts.System; not from there, which takes longer to load than help to print


def _count(word: str) -> int:
    if not (word.isdecimal() and int(word)):
        raise typer.BadParameter(f"'{word}' is not a whole number from 1 up.")
    return int(word)


def _system(word: str) -> str:
    if word not in SYSTEMS:
        raise typer.BadParameter(f"there is no '{word}'; choose metric or us.")
    return word


def _systems(begun: str) -> list[str]:
    """The unit systems whose names begin so, for the shell."""
    return [name for name in SYSTEMS if name.startswith(begun)]


Jobs = Annotated[
    int | None,
    typer.Option(parser=_count, metavar="N", help="Workbooks done at a time; without it, one a processor."),
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


def _kinds(begun: str) -> list[str]:
    """The kinds of workbooks whose names begin so, for the shell."""
    from sheetcalc import layouts

    return [kind for kind in layouts.kinds() if kind.startswith(begun)]


@app.callback()
def main(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    """Shared by all commands."""


@app.command()
def new(
    kind: Annotated[
        str,
        typer.Argument(
            metavar="batch|bench",
            help="batch: one wash to the bottle. bench: daily work.",
            autocompletion=_kinds,
        ),
    ],
    path: Annotated[
        Path | None,
        typer.Argument(metavar="PATH", help="The file to make; its ending, .xlsx or .ods, picks the format."),
    ] = None,
    units: Annotated[
        Any,
        typer.Option(
            parser=_system,
            metavar="metric|us",
            autocompletion=_systems,
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
    from sheetcalc import commands

    raise typer.Exit(commands.fill(paths, to, backup, again, layout, jobs))


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
    from sheetcalc import commands

    raise typer.Exit(commands.check(paths, as_json, layout, jobs))


@app.command()
def gather(
    paths: Paths,
    to: Annotated[
        Path,
        typer.Option(metavar="REGISTER", help="The register: .xlsx or .ods; .csv or .parquet for others."),
    ],
    units: Annotated[
        Any,
        typer.Option(
            parser=_system,
            metavar="metric|us",
            autocompletion=_systems,
            help="Of a new register; one that is there keeps its own.",
        ),
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
    from sheetcalc import commands, files, many, terminal
    from sheetcalc.registers import batches, gathering

    books = [path for path in many.workbooks(paths) if path.absolute() != to.absolute()]
    try:
        gathering.refuse(to)
        outcomes = many.each([(path,) for path in books], batches.read, commands.processes(jobs, books))
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
    from sheetcalc import files
    from sheetcalc.own import adopt

    try:
        told = adopt.propose(path, to, replace)
    except (files.BadWorkbook, OSError) as trouble:
        _stop(f"{path}: {trouble}")
    for line in told:
        _say(line)


def _say(message: str, err: bool = False) -> None:
    from sheetcalc import terminal

    terminal.say(message, err)


def _stop(message: str) -> NoReturn:
    _say(message, err=True)
    raise typer.Exit(2)
