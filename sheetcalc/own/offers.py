"""Which results a fill could put beside the tables that were recognised, and what the others lack."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from sheetcalc import compute, files, layouts
from sheetcalc.entries import Entries
from sheetcalc.layouts import Field
from sheetcalc.own import adopted, tables
from sheetcalc.own.adopted import Adopted, Heading, Part
from sheetcalc.own.guesses import Guess
from sheetcalc.own.recognise import SAMPLED, Table

SOME_DAY = 45_000.0
UNDER_CONSTANTS = " under [constants]"

Needs = dict[str, tuple[str, ...]]  # by the key of a result, what it lacks: nothing where it can be computed


def needs(book: files.Workbook, found: Sequence[Table]) -> list[Needs]:
    """For each of the tables and cards found, its results and what they lack, computed from what is there.

    Where the tables can't be read as they are proposed, nothing is told of any.
    """
    layout = Adopted("", tuple(map(_part, found)), (("", {}),), ())
    try:
        batches = {batch.name: batch.read for batch in tables.read(layout, book)} if _has_table(found) else {}
    except files.BadWorkbook:
        batches = {}
    return [_of_table(table, batches.get(table.batch, {})) for table in found]


def _has_table(found: Sequence[Table]) -> bool:
    return any(table.kind == "table" for table in found)


def _part(table: Table) -> Part:
    """A table as its proposal describes it; one that is in doubt as a whole, as if all of it were right."""
    sure = [guess for guess in table.guesses if guess.grade != "doubtful"] or list(table.guesses)
    headings = tuple(_heading(guess) for guess in sure if not guess.added)
    where = (table.kind, table.sheet.key, table.tab, table.batch, table.lines, table.nth, table.of)
    return Part("", *where, headings, {})


def _heading(guess: Guess) -> Heading:
    return Heading(guess.field.key, guess.text, guess.unit, guess.nth, guess.of, False, False, guess.date)


def _of_table(table: Table, read: Mapping[str, Entries]) -> Needs:
    results = [f.key for f in table.sheet.columns if f.role == "computed"] if table.kind == "table" else []
    if table.sheet.key not in read:
        return dict.fromkeys(results, ())
    values = compute.Values({key: _first(entries) for key, entries in read.items()})
    return {key: tuple(_lacking(values, table.sheet.key, key)) for key in results}


def _first(read: Entries) -> Entries:
    """The first records of a table."""
    columns = {field.key for field in read.sheet.columns}
    values = {key: v[:SAMPLED] if key in columns else v for key, v in read.values.items()}
    return replace(read, rows=read.rows[:SAMPLED], values=values)


def _lacking(values: compute.Values, sheet: str, key: str) -> Iterator[str]:
    """What a result lacks: the fewest entries without which it stays blank, whatever else is given."""
    if not compute.all_blank(values.get(sheet, key)):
        return
    missing = {
        (home, need): field
        for home, need in sorted(values.behind(sheet, key))
        if home in (sheet, adopted.CARD) and (field := _entry(home, need)) and _is_blank(values, home, need)
    }
    given = {place: _plausible(values, place[0], field) for place, field in missing.items()}
    if compute.all_blank(values.moved(given).get(sheet, key)):
        yield from _elsewhere(values, sheet, key)
        return
    # A value under [constants] is sooner given than a column.
    for place in sorted(given, key=lambda place: place[0] == adopted.CARD):
        without = {other: value for other, value in given.items() if other != place}
        if not compute.all_blank(values.moved(without).get(sheet, key)):
            given = without
    for home, need in given:
        yield f"{need} ({missing[home, need].heading}){UNDER_CONSTANTS if home == adopted.CARD else ''}"


def _elsewhere(values: compute.Values, sheet: str, key: str) -> Iterator[str]:
    """What a result lacks that stays blank with all that its table and the card could hold."""
    homes = {home for home, need in values.behind(sheet, key) if _entry(home, need)}
    lacking = homes - {sheet, adopted.CARD, adopted.GIVEN} - values.entries.keys()
    read = values.entries[sheet]
    named = [f for f in read.sheet.columns if f.needed and f.key not in read.found.cells]
    if lacking:
        yield from (f"a table of {layouts.every_sheet()[home].title.lower()}" for home in sorted(lacking))
    elif named:
        yield from (f"{field.key} ({field.heading})" for field in named)
    else:
        yield "more than these records hold"


def lacks_a_column(lacking: Sequence[str]) -> bool:
    """Whether some of what a result lacks can't be given under [constants]."""
    return any(not one.endswith(UNDER_CONSTANTS) for one in lacking)


def _entry(home: str, key: str) -> Field | None:
    """What is measured under a key, or None where it is no entry of that kind."""
    look = layouts.every_sheet().get(home)
    field = look.field(key) if look else None
    return field if field and field.role == "entry" and field.quantity not in ("text", "choice") else None


def _is_blank(values: compute.Values, home: str, key: str) -> bool:
    return compute.all_blank(values.get(home, key))


def _plausible(values: compute.Values, home: str, field: Field) -> Any:
    """Some value that an entry could have, over all records or for a card."""
    value = SOME_DAY if field.quantity == "moment" else 1.0
    if field.low is not None and field.high is not None:
        value = (field.low + field.high) / 2
    return np.full(np.shape(values.get(home, field.key)), value)
