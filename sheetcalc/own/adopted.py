"""The layout file that says what the headings of a person's own workbook mean, read and checked."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal, NamedTuple
from zlib import crc32

from sheetcalc import entries, layouts
from sheetcalc.entries import Entries
from sheetcalc.files import Cell
from sheetcalc.files.locate import Found
from sheetcalc.layouts import Field, LayoutError, Sheet
from sheetcalc.own.cells import MOST_LINES, plain

US_UNITS = frozenset({"°F", "gal", "qt", "fl oz", "lb", "oz", "proof", "proof gal"})
NAMED = "sheetcalc_"  # how the defined names of the columns that fill added begin
CARD = "batch"
GIVEN = "instruments"


class Heading(NamedTuple):
    """One heading or label of theirs: our key for it, its unit, and what fill may do with its column.

    `nth` is which of several alike it is, from the left, 0 where it is the only one; `of` how many there were
    when that was said, 0 where nobody counted. `write` lets fill write into the column, `add` makes it one of
    ours that fill puts right of the table. `date` is the heading of the dates where this one is that of the
    times of day alone. `words` are the person's own words for our choices.
    """

    key: str
    text: str
    unit: str
    nth: int
    of: int
    write: bool
    add: bool
    date: str = ""
    words: Mapping[str, str] = {}


@dataclass(frozen=True)
class Part:
    """One table or card of theirs; `where` is its place in the layout file, `lines` its lines of headings.

    `constants` hold for all records of a table.
    """

    where: str
    kind: Literal["table", "card"]
    sheet: str
    tab: str
    batch: str
    lines: int
    nth: int
    of: int
    headings: tuple[Heading, ...]
    constants: dict[str, Any]


@dataclass(frozen=True)
class Adopted:
    """A layout file for a person's own workbook."""

    name: str
    parts: tuple[Part, ...]
    constants: tuple[tuple[str, dict[str, Any]], ...]
    instruments: tuple[dict[str, Any], ...]


def load(path: Path) -> Adopted:
    """Read the layout file of a person's own workbook.

    Raises LayoutError, naming file, table and key, where it can't be used.
    """
    found = layouts.parse(path)
    layouts.only(path, "the file", found, {"tables", "cards", "constants", "instruments"})
    parts = [
        *(
            _part(path, "table", f"[[tables]] {n}", entry)
            for n, entry in layouts.tables(path, "tables", found)
        ),
        *(_part(path, "card", f"[[cards]] {n}", entry) for n, entry in layouts.tables(path, "cards", found)),
    ]
    if not any(part.kind == "table" for part in parts):
        raise LayoutError(
            f"{path.name}: no [[tables]] is switched on in it; take the '#' away from one and its columns."
        )
    taken: dict[tuple[str, str], Part] = {}
    for part in parts:
        other = taken.setdefault((part.batch, part.sheet), part)
        if other is not part:
            raise LayoutError(
                f"{path.name}, {part.where}: {other.where} is a {part.sheet!r} of the same batch; "
                "give each a batch of its own, such as batch = 'plums 2026'."
            )
    adopted = Adopted(
        path.name,
        tuple(parts),
        tuple(_constants(path, found, {part.batch for part in parts})),
        tuple(entry for _, entry in layouts.tables(path, "instruments", found)),
    )
    for batch in batches(adopted):
        given_by(adopted, batch)
    for part in parts:
        of_all_records(adopted, part)
    return adopted


def _part(path: Path, kind: Literal["table", "card"], where: str, entry: dict[str, Any]) -> Part:
    inner, only_tables = ("columns", ["constants", "words"]) if kind == "table" else ("fields", [])
    layouts.only(
        path, where, entry, {"sheet", "tab", "batch", "heading_lines", "nth", "of", inner, *only_tables}
    )
    key = layouts.take(path, where, entry, "sheet", str)
    sheets = layouts.every_sheet()
    can_be = {s.key for s in tables()} if kind == "table" else {CARD}
    if key not in can_be:
        raise LayoutError(f"{path.name}, {where}: sheet is {key!r}; it can be {', '.join(sorted(can_be))}.")
    where = f"{where} ({key})"
    lines = layouts.take(path, where, entry, "heading_lines", int, 1)
    if not 1 <= lines <= MOST_LINES:
        raise LayoutError(f"{path.name}, {where}: heading_lines is {lines}; it can be 1 to {MOST_LINES}.")
    words = _words(path, where, entry, [c for c in sheets[key].columns if c.choices])
    headings = tuple(
        _heading(path, f"{where}, [[{inner}]] {n}", sheets[key], kind, one, words)
        for n, one in layouts.tables(path, inner, entry)
    )
    if not any(not heading.add for heading in headings):
        raise LayoutError(f"{path.name}, {where}: none of your own headings is named in it.")
    for heading in headings:
        twins = [h for h in headings if h.key == heading.key or _same_heading(h, heading)]
        if len(twins) > 1:
            named = heading.key if twins[0].key == twins[1].key else heading.text
            raise LayoutError(f"{path.name}, {where}: {named!r} stands there twice; remove one of them.")
    return Part(
        where,
        kind,
        key,
        layouts.take(path, where, entry, "tab", str),
        layouts.take(path, where, entry, "batch", str, ""),
        lines,
        *_counted(path, where, entry),
        headings,
        layouts.take(path, where, entry, "constants", dict, {}),
    )


def _words(path: Path, where: str, entry: dict[str, Any], fields: Sequence[Field]) -> dict[str, str]:
    """The person's own words for choices of ours, in small letters; raises LayoutError."""
    words: dict[str, str] = {}
    choices = [choice for field in fields for choice in field.choices]
    for word, choice in layouts.take(path, where, entry, "words", dict, {}).items():
        if choice not in choices:
            known = f"it can be {', '.join(choices)}" if choices else "there are no choices here"
            raise LayoutError(f"{path.name}, {where}, words: {word!r} is to mean {choice!r}; {known}.")
        words[word.casefold()] = choice
    return words


def _counted(path: Path, where: str, entry: dict[str, Any]) -> tuple[int, int]:
    """Which of several alike is meant, and how many there were; 0 and 0 where it is the only one."""
    nth = layouts.take(path, where, entry, "nth", int, 0)
    of = layouts.take(path, where, entry, "of", int, 0)
    if nth < 0 or of < 0 or (of and not 0 < nth <= of):
        raise LayoutError(
            f"{path.name}, {where}: nth is {nth} and of is {of}; write such as nth = 1, of = 2."
        )
    return nth, of


def _same_heading(one: Heading, other: Heading) -> bool:
    # Two that fill added are told apart by their names, whatever the person calls them.
    both_ours = one.add and other.add and one.key != other.key
    return not both_ours and (plain(one.text), one.nth) == (plain(other.text), other.nth)


def tables() -> list[Sheet]:
    """The sheets of ours that a table of theirs can be: those in which something is typed."""
    return [s for s in layouts.every_sheet().values() if any(c.role == "entry" for c in s.columns)]


def _heading(
    path: Path, where: str, sheet: Sheet, kind: str, entry: dict[str, Any], words: Mapping[str, str]
) -> Heading:
    known_here = {"key", "heading", "unit", "nth", "of", "write", "add", "date", "words"}
    layouts.only(path, where, entry, known_here)
    key = layouts.take(path, where, entry, "key", str)
    where = f"{where} (key {key!r})"
    fields = sheet.columns if kind == "table" else tuple(f for f in sheet.fields if f.role == "entry")
    field = next((f for f in fields if f.key == key), None)
    if field is None:
        known = ", ".join(f.key for f in fields)
        raise LayoutError(f"{path.name}, {where}: {sheet.key} has no such key; it has {known}.")
    unit = layouts.take(path, where, entry, "unit", str, "")
    if field.units and unit not in field.units:
        said = f"unit is {unit!r}" if unit else "'unit' is missing"
        raise LayoutError(f"{path.name}, {where}: {said}; it can be {', '.join(field.units)}.")
    write = layouts.take(path, where, entry, "write", bool, False)
    add = layouts.take(path, where, entry, "add", bool, None)
    if field.role == "entry" and (write or add is not None):
        raise LayoutError(f"{path.name}, {where}: this is what you type; 'write' and 'add' are for results.")
    text = layouts.take(path, where, entry, "heading", str)
    if not text.strip():
        raise LayoutError(f"{path.name}, {where}: the heading is blank.")
    date = layouts.take(path, where, entry, "date", str, "")
    if date and (kind != "table" or field.role != "entry" or field.quantity != "moment"):
        raise LayoutError(f"{path.name}, {where}: 'date' goes with a column for the time of day.")
    nth, of = _counted(path, where, entry)
    own = {word: choice for word, choice in words.items() if choice in field.choices}
    own |= _words(path, where, entry, [field])
    # A column that is offered and not agreed to is neither looked for nor written.
    return Heading(key, text, unit, nth, of, write if add is None else add, add is not None, date, own)


def _constants(path: Path, found: dict[str, Any], batches: set[str]) -> Iterator[tuple[str, dict[str, Any]]]:
    """What holds for all batches, under '', and for each of its own."""
    given = layouts.take(path, "the file", found, "constants", dict, {})
    yield "", {key: value for key, value in given.items() if not isinstance(value, dict)}
    for name, own in given.items():
        if isinstance(own, dict):
            if name not in batches:
                raise LayoutError(f"{path.name}, [constants.{name}]: no table here has batch = {name!r}.")
            yield name, own


def defined_name(sheet: str, key: str, batch: str) -> str:
    """The defined name of a column of ours in a table of theirs, of a batch or, '', of the only one."""
    return f"{NAMED}{sheet}_{key}" + (f"_{crc32(batch.encode()):08x}" if batch else "")


def batches(adopted: Adopted) -> list[str]:
    """The names of the batches; '' is one only where no table names one."""
    named = dict.fromkeys(part.batch for part in adopted.parts if part.kind == "table")
    return list(named)


def given_by(adopted: Adopted, batch: str) -> dict[str, Entries]:
    """What the layout file itself gives: the batch card's values and the instruments; raises LayoutError."""
    values = _constants_of(adopted, batch)
    of_tables = {
        field.key for part in adopted.parts if part.kind == "table" for field in _typed(part.sheet)
    } - {field.key for field in _typed(CARD)}
    values = {key: value for key, value in values.items() if key not in of_tables}
    return {
        CARD: _as_entries(adopted.name, "[constants]", CARD, [values]),
        GIVEN: _as_entries(adopted.name, "[[instruments]]", GIVEN, list(adopted.instruments)),
    }


def of_all_records(adopted: Adopted, part: Part) -> Entries:
    """What the layout file gives for all records of a table, in columns that it lacks; raises LayoutError."""
    if part.kind == "card":
        return _as_entries(adopted.name, part.where, CARD, [{}])
    there = {heading.key for heading in part.headings}
    on_card = {field.key for field in _typed(CARD)}
    typed = {field.key for field in _typed(part.sheet)}
    common = _constants_of(adopted, part.batch)
    values = {key: value for key, value in common.items() if key in typed - there - on_card}
    return _as_entries(adopted.name, f"{part.where}, constants", part.sheet, [values | part.constants])


def _called(name: str, key: str) -> str:
    """What stands for the heading of a value that the layout file gives."""
    return f"{key} in {name}"


def _constants_of(adopted: Adopted, batch: str) -> dict[str, Any]:
    """What stands under [constants] for a batch."""
    common = dict(adopted.constants)
    return common[""] | common.get(batch, {})


def _typed(sheet: str) -> list[Field]:
    """What can be typed on a sheet of ours: the lines of a card, the columns of a table."""
    look = layouts.every_sheet()[sheet]
    return [field for field in look.columns or look.fields if field.role == "entry"]


def _as_entries(name: str, where: str, key: str, records: list[dict[str, Any]]) -> Entries:
    """Values of a layout file as if they stood on a sheet, read as strictly as cells are.

    They have no cells; what is unlikely about them is among the findings all the same.
    """
    sheet, fields = layouts.every_sheet()[key], _typed(key)
    known = {f.key: place for place, f in enumerate(fields, start=1)}
    cells: dict[tuple[int, int], Cell] = {}
    for row, record in enumerate(records, start=2):
        for one, value in record.items():
            if one not in known:
                raise LayoutError(
                    f"{name}, {where}: {one!r} is not known here; known are {', '.join(known)}."
                )
            if isinstance(value, bool) or not isinstance(value, (str, int, float)):
                raise LayoutError(
                    f"{name}, {where}: {one!r} is {value!r}; write a number, or a text in quotes."
                )
            text = isinstance(value, str)
            cells[row, known[one]] = Cell(value if text else float(value), "text" if text else "number")
    table = bool(sheet.columns)
    places = {one: (1 if table else 2, column) for one, column in known.items()}
    found = Found(where, places, {f.key: f.key for f in fields}, {}, 2 if table else 0, ())
    look = replace(sheet, fields=()) if table else sheet
    read = entries.read(in_units(look, "metric"), found, cells)
    for finding in read.findings:
        if finding.level == "error":
            raise LayoutError(f"{name}, {where}, {finding.column}: {finding.message} {finding.advice}")
    given = {} if table else dict.fromkeys(records[0], (0, 0))
    headings = {key: _called(name, key) for key in known}
    nowhere = replace(found, tab="", cells=given, headings=headings, first_row=0)
    unlikely = tuple(
        replace(finding, column=_called(name, finding.column))
        for finding in read.findings
        if finding.level == "warning"
    )
    return replace(read, found=nowhere, findings=unlikely)


def in_units(sheet: Sheet, system: layouts.System, theirs: Mapping[str, str] | None = None) -> Sheet:
    """A sheet whose units are theirs, by key, and else those of one system alone."""

    def settled(field: Field) -> Field:
        label = (theirs or {}).get(field.key) or field.unit.get(system, "")
        return replace(field, unit=dict.fromkeys(field.unit, label))

    fields, columns = tuple(map(settled, sheet.fields)), tuple(map(settled, sheet.columns))
    return replace(sheet, fields=fields, columns=columns, records=0)
