"""Where a sheet that is there has room for one more line or column, and what goes into its cells."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from sheetcalc import files, layouts, units
from sheetcalc.files import Cells, Place, Position
from sheetcalc.files.locate import Found
from sheetcalc.layouts import Field, Sheet, System

Works = Mapping[str, Found]
NEW_WORKBOOK = "Begin a new workbook to have it."
CALL_IT_ELSE = "Call yours something else and fill again."


class Piece(NamedTuple):
    """One cell of a new line or column: its text, '' for none, and the cell whose look it takes."""

    at: Position
    text: str
    like: Place


@dataclass(frozen=True)
class Room:
    """The cells of a new line or column.

    `at` is the cell of its value or heading, `typed` are those to type into, and `unit` is that of its unit.
    Where there is no room, `trouble` tells why and `advice` what to do; `at` and `heading` are then those of
    the last line or column.
    """

    field: Field
    at: Position
    heading: str
    pieces: tuple[Piece, ...] = ()
    typed: tuple[Position, ...] = ()
    unit: Position | None = None
    trouble: str = ""
    advice: str = ""


def system(book: files.Workbook, found: Works) -> System:
    """The units most of a workbook stands in, told by the unit cells of what is measured differently."""
    stand_in: list[tuple[Field, str]] = []
    for key, place in found.items():
        sheet = layouts.every_sheet()[key]
        for field in (*sheet.fields, *sheet.columns):
            cell = book.cells(place.tab).get(place.units.get(field.key, (0, 0)))
            if cell:
                stand_in.append((field, units.label_of(str(cell.value).strip(), field.quantity)))
    return layouts.system_of(stand_in)


def lines(book: files.Workbook, found: Works, sheet: Sheet, fields: Sequence[Field]) -> Iterator[Room]:
    """The room for new lines below the last one of a sheet's card."""
    place, page = found[sheet.key], book.cells(found[sheet.key].tab)
    there = [f for f in sheet.fields if f.role != "flag" and f.key in place.cells]
    if not there:
        yield from _nowhere(fields)
        return
    flags = [place.cells[f.key][1] for f in sheet.fields if f.role == "flag" and f.key in place.cells]
    last = max(there, key=lambda field: place.cells[field.key])
    end, value = place.cells[last.key]
    label = next((column for column in range(value - 1, 0, -1) if _text(page, (end, column))), 0)
    free = min((row for row, _ in page if row > end), default=files.MAX_ROW) - end - 1
    # A blank row keeps a card and the table below it apart.
    lacking = len(fields) + bool(sheet.columns) - free
    in_system, units_at = system(book, found), _unit_column(place, there, value)
    for row, field in enumerate(fields, start=end + 1):
        texts = {
            value: "",
            label: field.heading,
            units_at: field.unit.get(in_system, ""),
            _help_column(page, place, there): field.help,
            **dict.fromkeys(flags, ""),
        }
        texts.pop(0, None)
        trouble, advice = _refused(book, place.tab, [(row, column) for column in texts])
        if field.role == "flag" or not label:
            trouble, advice = "it has no place on this card", NEW_WORKBOOK
        elif any(at[1] == label and _is_called(page, at, field) for at in page):
            trouble, advice = "a line of your own is called so", CALL_IT_ELSE
        elif not trouble and lacking > 0:
            trouble = f"no rows are free below row {end}"
            advice = f"Insert {lacking} row{'s' * (lacking > 1)} below row {end} and fill again."
        if trouble:
            yield Room(field, place.cells[last.key], place.headings[last.key], trouble=trouble, advice=advice)
            continue
        look, key = _alike(found, sheet, field, in_system) or (place, last.key)
        beside = look.cells[key][0] if look is place else end
        pieces = [Piece((row, column), text, (place.tab, beside, column)) for column, text in texts.items()]
        pieces[0] = Piece((row, value), "", (look.tab, *look.cells[key]))
        typed = ((row, value),) if field.role == "entry" else ()
        unit = (row, units_at) if field.units else None
        yield Room(field, (row, value), field.heading, tuple(pieces), typed, unit)


def columns(book: files.Workbook, found: Works, sheet: Sheet, fields: Sequence[Field]) -> Iterator[Room]:
    """The room for new columns right of everything on a sheet."""
    place, page = found[sheet.key], book.cells(found[sheet.key].tab)
    there = [f for f in sheet.columns if f.key in place.cells]
    if not there:
        yield from _nowhere(fields)
        return
    last = max(there, key=lambda field: place.cells[field.key])
    heading_row = place.cells[last.key][0]
    has_help = any(_text(page, (heading_row - 1, place.cells[f.key][1])) == f.help for f in there)
    has_units = any(f.key in place.units for f in there)
    merged, ours = book.merged(place.tab), set(place.cells.values())
    ready = range(place.first_row, min(place.first_row + sheet.ready, files.MAX_ROW + 1))
    last_used = max(merged.get(at, at[1]) for at in page)
    free = book.free_columns(place.tab, last_used + 1, range(heading_row - 1, ready.stop))
    column = next(free)
    in_system = system(book, found)
    for field in fields:
        texts = {heading_row: field.heading}
        texts |= {heading_row - 1: field.help} if has_help else {}
        texts |= {place.first_row - 1: field.unit.get(in_system, "")} if has_units else {}
        trouble, advice = _refused(book, place.tab, [(row, column) for row in texts])
        if field.units and not has_units:
            trouble, advice = "no row of units stands below the headings", NEW_WORKBOOK
        elif any(at[0] == heading_row and _is_called(page, at, field) for at in page.keys() - ours):
            trouble, advice = "a column of your own is called so", CALL_IT_ELSE
        if trouble:
            yield Room(field, place.cells[last.key], place.headings[last.key], trouble=trouble, advice=advice)
            continue
        look, key = _alike(found, sheet, field, in_system) or (place, last.key)
        top, beside = look.cells[key]
        like_rows = {heading_row: top, heading_row - 1: top - 1}
        like_rows |= {place.first_row - 1: look.first_row - 1} if has_units else {}
        pieces = [
            Piece((row, column), text, (look.tab, like_rows[row], beside)) for row, text in texts.items()
        ]
        pieces += [Piece((row, column), "", (look.tab, look.first_row, beside)) for row in ready]
        typed = tuple((row, column) for row in ready) if field.role == "entry" else ()
        unit = (place.first_row - 1, column) if field.units else None
        yield Room(field, (heading_row, column), field.heading, tuple(pieces), typed, unit)
        column = next(free)


def _nowhere(fields: Sequence[Field]) -> Iterator[Room]:
    """There is no room where none of a card's lines, or of a table's columns, are there."""
    for field in fields:
        yield Room(
            field, (1, 1), "", trouble="none of those that belong with it are there", advice=NEW_WORKBOOK
        )


def _refused(book: files.Workbook, tab: str, cells: Sequence[Position]) -> tuple[str, str]:
    """Why nothing may be written into blank cells, and what to do; '' where it may."""
    if book.protected(tab):
        return "the sheet is protected", "Take the protection off and fill again."
    if any(row > files.MAX_ROW or column > files.MAX_COLUMN for row, column in cells):
        return "the sheet ends there", "Delete what you don't need at its end and fill again."
    if any(book.under_merged(tab, *at) or book.has_formula(tab, *at) for at in cells):
        return "a merged cell or a formula covers its cells", "Move that elsewhere and fill again."
    return "", ""


def _alike(found: Works, sheet: Sheet, field: Field, in_system: System) -> tuple[Found, str] | None:
    """The line or column whose look fits: of the same role, its values shown alike, of this sheet first."""
    for key in dict.fromkeys((sheet.key, *found)):
        other = layouts.every_sheet().get(key)
        for one in () if other is None else other.fields if field in sheet.fields else other.columns:
            shown = one.number_format(in_system) == field.number_format(in_system)
            if one.role == field.role and shown and one.key in found[key].cells and one.key != field.key:
                return found[key], one.key
    return None


def _unit_column(place: Found, there: Sequence[Field], value: int) -> int:
    """Where a card's units stand: where most do."""
    columns = Counter(place.units[f.key][1] for f in there if f.key in place.units)
    return columns.most_common(1)[0][0] if columns else value + 1


def _help_column(page: Cells, place: Found, there: Sequence[Field]) -> int:
    """Where the help of a card's lines stands; 0 where somebody took it away."""
    helps = {place.cells[f.key][0]: f.help for f in there}
    columns = Counter(column for row, column in page if _text(page, (row, column)) == helps.get(row))
    return columns.most_common(1)[0][0] if columns else 0


def _text(page: Cells, at: Position) -> str:
    cell = page.get(at)
    return cell.value if cell is not None and isinstance(cell.value, str) else ""


def _is_called(page: Cells, at: Position, field: Field) -> bool:
    return " ".join(_text(page, at).split()).casefold() == field.heading.casefold()
