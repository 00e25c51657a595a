"""The commands."""

import sys
from collections.abc import Iterable
from io import TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, NoReturn

import typer

from sheetcalc import __version__

if TYPE_CHECKING:
    from sheetcalc.findings import Finding
    from sheetcalc.many import Outcome

app = typer.Typer(
    name="sheetcalc",
    help="Fills a small-batch distiller's own Excel or ODS log: true strength, water to add, what a run "
    "should give, and what does not add up.\n\n"
    "  sheetcalc new batch plum.xlsx\n\n"
    "  sheetcalc fill plum.xlsx\n\n"
    "Distilling is often licensed or forbidden: check your own local law first.",
    no_args_is_help=True,
    add_completion=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

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
        Path, typer.Argument(help="The file to make; its ending, .xlsx or .ods, picks the format.")
    ],
    units: Annotated[
        Literal["metric", "us"], typer.Option(help="L, g, °C, % vol; or gal, oz, °F, proof.")
    ] = "metric",
) -> None:
    """Make a new workbook, ready to type into.

    Example: sheetcalc new batch plum-2026.ods --units metric
    """
    from sheetcalc import findings, interrupts, layouts, new

    if kind not in layouts.kinds():
        _stop(f"There is no workbook '{kind}'; choose {' or '.join(layouts.kinds())}.")
    try:
        with interrupts.held_back():
            new.new(kind, path, units)
    except (layouts.LayoutError, ValueError, OSError) as trouble:
        _stop(f"{path}: {trouble}")
    made = findings.printable(str(path))
    typer.echo(f"Made {made}. Type your readings, save and close it, then run: sheetcalc fill {made}")


@app.command()
def fill(
    paths: Paths,
    to: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Write filled copies there and leave the originals.")
    ] = None,
    backup: Annotated[
        bool, typer.Option("--backup", help="Keep the version before beside each, as NAME.before.")
    ] = False,
) -> None:
    """Compute, and write results and flags into each workbook; nothing else in it changes.

    Examples: sheetcalc fill plum.xlsx    sheetcalc fill logs --to filled    sheetcalc fill plum.xlsx --backup

    The version before is replaced at the next change; to go back to it, rename plum.xlsx.before to plum.xlsx.
    """
    from sheetcalc import fill as filling
    from sheetcalc import many

    if backup and to:
        _stop(
            "--backup keeps what a fill in place replaces, and --to replaces nothing; leave one of them out."
        )
    books = many.workbooks(paths)
    try:
        copies = many.copies(books, to) if to else {}
    except OSError as trouble:
        _stop(f"{to}: this folder can't be used: {trouble.strerror}.")
    _tell(many.each(books, lambda path: filling.fill(path, copies.get(path), backup)), paths, copies, most=5)


@app.command()
def check(
    paths: Paths,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a finding, one a line.")] = False,
) -> None:
    """Read and check each workbook and print what was found; writes nothing.

    Example: sheetcalc check logs --json
    """
    from sheetcalc import fill as filling
    from sheetcalc import many

    _tell(many.each(many.workbooks(paths), filling.check), paths, {}, as_json=as_json)


def _tell(
    outcomes: "Iterable[Outcome]",
    paths: list[str],
    copies: dict[Path, Path],
    most: int | None = None,
    as_json: bool = False,
) -> None:
    """Print what came of each workbook as it comes, and end with the exit code of the contract."""
    from sheetcalc import findings

    code, any_at_all = 0, False
    for outcome in outcomes:
        any_at_all = True
        if outcome.trouble:
            typer.echo(findings.printable(f"{outcome.path}: {outcome.trouble}"), err=True)
            code = 2
            continue
        if as_json:
            for finding in outcome.findings:
                typer.echo(findings.as_json(finding, str(outcome.path)))
        else:
            typer.echo(_summary(copies.get(outcome.path, outcome.path), outcome.findings, most))
        if any(finding.level == "error" for finding in outcome.findings):
            code = code or 1
    if not any_at_all:
        nothing = f"There is no workbook (.xlsx, .xlsm or .ods) in {', '.join(paths)}."
        typer.echo(findings.printable(nothing), err=True)
        code = 2
    raise typer.Exit(code)


def _summary(path: Path, found: "tuple[Finding, ...]", most: int | None) -> str:
    """One workbook's findings as a person reads them on the terminal, the most serious first."""
    from sheetcalc import findings

    lines = [f"{path}: {findings.tally(found)}"]
    told = [f for f in found if most is None or f.level != "note"][:most]
    for finding in told:
        where = f"{finding.sheet}!{finding.cell}" + (f" [{finding.column}]" if finding.column else "")
        lines += [f"  {finding.level.upper():8}{where} {finding.message}", f"          -> {finding.advice}"]
    rest = len(found) - len(told)
    if rest:
        lines.append(f"  ... and {rest} more in the workbook." if told else f"  {rest} in the workbook.")
    return "\n".join(findings.printable(line) for line in lines)


def _stop(message: str) -> NoReturn:
    from sheetcalc import findings

    typer.echo(findings.printable(message), err=True)
    raise typer.Exit(2)
