"""What a person's own workbook seems to hold, proposed as a layout file that says why; writes no workbook."""

import json
import textwrap
from collections import Counter
from collections.abc import Container, Iterator, Sequence
from pathlib import Path

from sheetcalc import files, layouts, units
from sheetcalc.files import BadWorkbook
from sheetcalc.findings import address
from sheetcalc.layouts import Field
from sheetcalc.own import adopted, offers, recognise
from sheetcalc.own.guesses import Guess
from sheetcalc.own.recognise import Table, Unread

KEPT_ENDING = ".before"  # behind the name of a layout file that was replaced


def propose(path: Path, to: Path | None = None, over: bool = False) -> list[str]:
    """Write the layout file that fits a workbook, and tell in lines for the terminal what was recognised.

    to: the file to write, else NAME.layout.toml beside the workbook; over: whether it may be there already,
    and is then kept as NAME.before.
    Raises files.BadWorkbook where the workbook can't be read or holds nothing that we know, or where the file
    is there already.
    """
    goal = to or path.with_suffix(".layout.toml")
    if goal.suffix != ".toml":
        raise BadWorkbook(f"A layout file ends in .toml; {goal.name} does not.")
    if goal.exists() and not over:
        raise BadWorkbook(
            f"{goal} is there already, with what you corrected in it. Have the new proposal written beside "
            "it with --to OTHER.toml, and copy from that what you want; or, with --replace, in its place."
        )
    book = files.open_workbook(path)
    found = recognise.recognise(book)
    left = recognise.left_alone(book, found)
    if not left and not any(table.kind == "table" for table in found):
        raise BadWorkbook(
            "Nothing in it looks like a table: no row of headings stands above a row with values. "
            "Nothing was written."
        )
    if not found and not to and not any(map(recognise.is_of_the_trade, left)):
        raise BadWorkbook(
            f"Found nothing of the trade in it. {_seen(left)} Nothing was written. If one of them is a "
            "log of yours, name a file, --to FILE.toml, to say there by hand what its headings mean."
        )
    kept = goal.with_name(goal.name + KEPT_ENDING)
    replaced = goal.exists()
    if replaced:
        goal.replace(kept)
    goal.write_text(
        "\n".join(_toml(path.name, found, left, offers.needs(book, found))) + "\n",
        encoding="utf-8",
        newline="\n",
    )
    told = [f"The layout that was there is kept as {kept}."] if replaced else []
    return [*_told(path, found, left), *told, *_next(path, goal, found, left)]


def _seen(left: Sequence[Unread]) -> str:
    """The tables that were not recognised, in a sentence."""
    tables = (
        f"{one.tab}!{address(one.top, min(one.headings))} ({', '.join(one.headings.values())})"
        for one in left
    )
    return f"Its tables: {units.one_line('; '.join(tables), 200)}."


def _toml(
    name: str, found: Sequence[Table], left: Sequence[Unread], needs: Sequence[offers.Needs]
) -> Iterator[str]:
    """The layout file, line by line; needs: for each table, what its results lack."""
    yield f"# Layout of {_comment(name)}, as sheetcalc adopt proposes it. Look through it first:"
    yield "# - A block says which of your headings is what. Delete it, or correct its key or unit, if wrong."
    yield "# - DOUBTFUL ones are switched off by '#'. Take the '#' away where they are right."
    yield "# - 'add = false' offers a column to compute; 'add = true' lets fill put it beside your table."
    yield "# - nth says which of several headings called alike is meant, from the left (tables: from above),"
    yield "#   and of how many there are; a fill notices when there are more or fewer."
    yield '# - constants = { sample_temperature = "20 °C" } below sheet = ... holds for all lines of a table.'
    yield '# - words = { "hd" = "heads" } below heading = ... says what your words for our choices mean.'
    yield "# - 'write = false' is a column of yours to compute; 'write = true' lets fill write over it."
    yield f"# Then: sheetcalc fill {_comment(name)} --layout THIS FILE"
    yield ""
    yield '# What your workbook does not hold and results need. [constants."NAME"] is for one batch alone.'
    yield "[constants]"
    for example in ('original_gravity = "1.080"', 'still_capacity = "4 L"', 'altitude = "0 m"'):
        yield f"# {example}"
    yield from _listed("Any line of a batch card", layouts.every_sheet()["batch"].fields)
    yield ""
    if any(g.unit == "proof" and g.field.quantity == "mark" for table in found for g in table.guesses):
        yield "# A proof hydrometer is made for 60 °F; correct it if yours says otherwise."
        yield from ("[[instruments]]", 'instrument = "alcoholmeter"', 'scale = "proof"')
        yield 'reference_temperature = "60 °F"'
    else:
        yield "# Without it, glasses are taken to read right at 20 °C."
        yield from ("# [[instruments]]", '# instrument = "hydrometer"', '# scale = "SG"')
        yield '# reference_temperature = "20 °C"'
    on_tab = Counter(table.tab for table in found if table.kind == "table")
    alike = Counter((table.tab, table.sheet.key) for table in found)
    for table, lacking in zip(found, needs, strict=True):
        whose = table.batch if alike[table.tab, table.sheet.key] > 1 else table.sheet.title.lower()
        yield ""
        yield from _block(table, f" ({whose})" if on_tab[table.tab] > 1 else "", lacking)
    if left:
        yield ""
        yield from _by_hand(left)


def _by_hand(left: Sequence[Unread]) -> Iterator[str]:
    """Blocks to complete for tables that were not recognised, switched off, and what can stand in them."""
    yield "# Tables that were not recognised, and are left alone. Is one of them a log of yours? Take the"
    yield "# '#' away from its lines, say in sheet which log it is, in key what a heading means, put such as"
    yield '#   unit = "°C"'
    yield "# below a heading that is measured, and delete those that have no key. What is to be computed is a"
    yield "# block [[tables.columns]] with key, heading, unit and add = true. The logs and their keys:"
    for sheet in adopted.tables():
        yield from _listed(sheet.key, sheet.columns)
        results = [f for f in sheet.columns if f.role != "entry" and not f.key.endswith("_uncertainty")]
        yield from _wrapped(f"  to compute: {', '.join(f'{f.key} ({f.heading})' for f in results)}.")
    for table in left:
        yield ""
        at = address(table.top, min(table.headings))
        yield f"# Not recognised, and left alone: the table at {at} on {_comment(table.tab)}"
        yield from ("# [[tables]]", '# sheet = "?"', f"# tab = {_text(table.tab)}")
        for text in table.headings.values():
            yield from ("# [[tables.columns]]", '# key = "?"', f"# heading = {_text(text)}")


def _block(table: Table, whose: str, needs: offers.Needs) -> Iterator[str]:
    """A table or card; `whose` stands behind the heading of its flags, on a tab of several tables."""
    outer, inner = ("tables", "columns") if table.kind == "table" else ("cards", "fields")
    off = all(guess.grade == "doubtful" for guess in table.guesses)
    mark = "# " if off else ""
    at = address(table.top, table.guesses[0].place[1])
    yield f"# {table.sheet.title}: the {table.kind} at {at} on {_comment(table.tab)}"
    yield f"{mark}[[{outer}]]"
    yield f"{mark}sheet = {_text(table.sheet.key)}"
    yield f"{mark}tab = {_text(table.tab)}"
    if table.batch:
        yield f"{mark}batch = {_text(table.batch)}  # tables of one batch are computed together"
    if table.lines > 1:
        yield f"{mark}heading_lines = {table.lines}"
    if table.nth:
        yield f"{mark}nth = {table.nth}  # of the tables with these headings, from above"
        yield f"{mark}of = {table.of}"
    sampled = any(guess.field.key == "sample_temperature" for guess in table.guesses)
    for guess in table.guesses:
        yield ""
        yield from _one(guess, f"{outer}.{inner}")
        if guess.field.key == "wash_temperature" and table.sheet.key == "fermentation" and not sampled:
            yield '# key = "sample_temperature"  # instead, if it is the temperature of the sample'
    if table.unknown:
        yield ""
        for place, text in table.unknown:
            yield f"# Not recognised, and left alone: {address(*place)} {_comment(text)}"
        known = {guess.field.key for guess in table.guesses}
        fields = table.sheet.columns if table.kind == "table" else table.sheet.fields
        yield from _listed("A block like those above may give one of them", fields, known)
    if table.kind == "table":
        yield from _offers(table, mark, whose, needs)


def _listed(what: str, fields: Sequence[Field], but: Container[str] = ()) -> Iterator[str]:
    """The keys that can be typed, each with what we call it, as a comment of several lines."""
    left = [f for f in fields if f.role == "entry" and f.key not in but]
    if left:
        yield from _wrapped(f"{what}: {', '.join(f'{f.key} ({f.heading})' for f in left)}.")


def _wrapped(text: str) -> list[str]:
    """A comment of several lines."""
    return textwrap.wrap(text, 110, initial_indent="# ", subsequent_indent="#   ")


def _one(guess: Guess, header: str) -> Iterator[str]:
    field = guess.field
    sure = f"{guess.grade} ({guess.sure:.0%})"
    heading, why = _comment(guess.text), _comment("; ".join(guess.why))
    yield f'# {address(*guess.place)} {heading} = "{field.heading}": {sure}; {why}'
    if guess.seen:
        yield f"#   read as {_comment(', '.join(guess.seen))}"
    off = "# " if guess.grade == "doubtful" else ""
    if off:
        yield "#   DOUBTFUL: switched off; look whether key and unit are right"
    yield f"{off}[[{header}]]"
    yield f"{off}key = {_text(field.key)}"
    yield f"{off}heading = {_text(guess.text)}"
    if guess.date:
        yield f"{off}date = {_text(guess.date)}  # the column of the date, this being the time of day"
    if field.units:
        yield f"{off}unit = {_text(guess.unit)}"
    if guess.nth:
        yield f"{off}nth = {guess.nth}  # of the columns with this heading, from the left"
        yield f"{off}of = {guess.of}  # fill stops when there are more or fewer"
    if guess.added:
        yield f"{off}add = true  # fill added it"
    elif field.role != "entry":
        yield f"{off}write = false"


def _offers(table: Table, mark: str, whose: str, needs: offers.Needs) -> Iterator[str]:
    """The results that can stand beside a table, none agreed to yet; by '#' those that lack a column."""
    known = {guess.field.key for guess in table.guesses}
    texts = {guess.text.casefold() for guess in table.guesses} | {
        text.casefold() for _, text in table.unknown
    }
    us = any(guess.unit in adopted.US_UNITS for guess in table.guesses)
    left = [
        field
        for field in table.sheet.columns
        if field.role != "entry" and field.key not in known and not field.key.endswith("_uncertainty")
    ]
    # The flags come last, since they may run on to the right.
    for field in sorted(left, key=lambda f: (f.role == "flag", offers.lacks_a_column(needs.get(f.key, ())))):
        unit = field.unit.get("us" if us else "metric", "")
        heading = f"{field.heading} ({unit})" if unit else field.heading
        heading += whose if field.role == "flag" else ""
        heading = heading if heading.casefold() not in texts else f"{heading} (computed)"
        lacking = needs.get(field.key, ())
        lacks = offers.lacks_a_column(lacking)
        off = "# " if lacks else mark
        yield ""
        yield f"# {field.help}"
        if lacking:
            yield from _wrapped(f"{'SWITCHED OFF: needs' if lacks else 'Needs'} {', '.join(lacking)}.")
        yield f"{off}[[tables.columns]]"
        yield f"{off}key = {_text(field.key)}"
        yield f"{off}heading = {_text(heading)}"
        if unit:
            yield f"{off}unit = {_text(unit)}"
        yield f"{off}add = false"


def _text(text: str) -> str:
    """A text as TOML writes it."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _comment(text: str) -> str:
    """Somebody's words in a comment: on one line."""
    return units.one_line(text, 120)


def _told(path: Path, found: Sequence[Table], left: Sequence[Unread]) -> Iterator[str]:
    """What was recognised, for the terminal."""
    yield f"{path}: {len(found)} recognised"
    for table in found:
        at = address(table.top, table.guesses[0].place[1])
        batch = f", batch {units.short(table.batch)}" if table.batch else ""
        yield f"  {table.sheet.title} ({table.kind} at {table.tab}!{at}{batch})"
        width = min(30, max(len(guess.text) for guess in table.guesses))
        for g in table.guesses:
            unit = f" [{g.unit}]" if g.unit else ""
            of_whom = ", added by fill" if g.added else ", a result of your own"
            off = "" if g.field.role == "entry" else of_whom
            off += f", date in {units.short(g.date)}" if g.date else ""
            heading = f"{units.one_line(g.text, 30):{width}}"
            seen = f": {', '.join(g.seen)}" if g.seen else ""
            yield f"    {address(*g.place):5} {heading}  {g.grade:8}  {g.field.heading}{unit}{off}{seen}"
        for place, text in table.unknown:
            yield f"    {address(*place):5} {units.one_line(text, 30):{width}}  not recognised, left alone"
    for one in left:
        at = address(one.top, min(one.headings))
        headings = _comment(", ".join(one.headings.values()))
        yield f"  Not recognised, left alone: table at {one.tab}!{at} ({headings})"


def _next(path: Path, goal: Path, found: Sequence[Table], left: Sequence[Unread]) -> Iterator[str]:
    doubtful = sum(guess.grade == "doubtful" for table in found for guess in table.guesses)
    yield f"Wrote {goal}; the workbook was not changed."
    if doubtful:
        yield f"{doubtful} doubtful: switched off there until you take the '#' away."
    if left:
        them = "a table" if len(left) == 1 else f"{len(left)} tables"
        yield f"For {them} left alone, blocks to complete by hand stand at its end, switched off."
    yield "Next: look through it, switch on what you want computed (add = true), and run:"
    yield f"  sheetcalc fill {path} --layout {goal}"
