"""From the cells a person filled in to arrays in base units, and what could not be read."""

import dataclasses
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from sheetcalc import meant, units
from sheetcalc.files import BadWorkbook, Cell, Cells, Look, Position, brief
from sheetcalc.files.locate import Found
from sheetcalc.findings import Finding, Level
from sheetcalc.layouts import Field, Sheet

EARLIEST, LATEST = 29221.0, 73051.0  # 1980 to 2099: outside it a number was not meant as a date
MOST_TYPED = 1e15  # beyond it no unit is small enough
MOST = 1e9  # no amount, of anything, in any of our units, comes near it
LEAST = 1e-12  # nor to this, nothing aside
_TOTALS = re.compile(
    r"(sub-?|grand |zwischen|end)?(totals?|totales|total général|totais|totale|totaal|sum|sums|summe|summen"
    r"|gesamt|gesamtsumme|somme|suma|soma|somma|razem|łącznie|celkem|součet|som|average|avg\.?|mean|durchschnitt|mittelwert|mittel|schnitt|ø"
    r"|moyenne|promedio|media|średnia|průměr|gemiddelde|média|Σ)(\s+\S{1,12})?\s*[:=]?",
    re.IGNORECASE,
)
NEVER_NEGATIVE = ("volume", "mass", "duration", "power", "energy", "mark", "strength", "gravity")


TYPE_ANEW = "Type it anew; the unit may follow the number."
WEIGHED = "Type it anew; the unit may follow the number, also that of a weight: kg, g, lb or oz."
HOW_TO_TYPE = {"choice": "Type one of them.", "moment": "Type it anew, the year first and in full."}


class Problem(NamedTuple):
    """What is wrong with one cell."""

    level: Level
    rule: str
    message: str
    advice: str


AGAIN = "Check the reading and its unit; type it anew."
IF_RIGHT = "Check the reading and its unit; if both are right, it may stay; what can't be computed is blank."
DATE_AS_TEXT = Problem(
    "note",
    "date_as_text",
    "A date that is text was read, but a spreadsheet program neither sorts nor draws it.",
    "Clear the cell and type the date as 2026-03-04 18:30; if it stays text, set the cell's format to a date "
    "first.",
)
IMPOSSIBLE = Problem("error", "impossible_number", "No reading is as large as that.", AGAIN)
TOO_SMALL = Problem("error", "impossible_number", "No reading is as small as that.", AGAIN)


Weights = NDArray[np.float64]


class Theirs(NamedTuple):
    """What has to be heeded where results are written into a person's own table; nothing in ours.

    `left` are the rows among the records that hold something else, such as totals; `looks` the column in the
    same row whose look a result takes over, by its key, and how much of it; `digits` those behind the point
    that a number is rounded to, as its cell may have a format of theirs. `between` stands between the flags
    of a row: a line break would be drawn over the rows around a cell that does not wrap.
    """

    left: frozenset[int] = frozenset()
    looks: Mapping[str, tuple[int, Look]] = {}
    digits: Mapping[str, int] = {}
    between: str = "\n"


OURS = Theirs()


@dataclass(frozen=True)
class Entries:
    """What one of our sheets holds.

    `values` are arrays over the records of a table and single values for the lines of a card: floats
    in base units with NaN for a blank, or texts with '' for one. `rows` are the records' rows in the
    sheet, or the lines of a table that is computed as a whole; `units` the unit label in force for each
    key, '' where nothing is measured. `weights` holds, of a column of volumes, the records that were weighed
    instead (kg as a scale shows it, NaN elsewhere); their values are NaN.
    """

    sheet: Sheet
    found: Found
    rows: tuple[int, ...]
    values: dict[str, Any]
    units: dict[str, str]
    findings: tuple[Finding, ...]
    theirs: Theirs = OURS
    weights: Mapping[str, Weights] = dataclasses.field(default_factory=dict)

    def cell(self, key: str, record: int) -> Position:
        """Row and column of a record's cell; for a card line the record does not matter."""
        row, column = self.found.cells[key]
        return (self.rows[record], column) if self.is_column(key) else (row, column)

    def is_column(self, key: str) -> bool:
        """Whether the key is a column of the table, not a line of the card."""
        return key in self.sheet.column_keys


def read(sheet: Sheet, found: Found, cells: Cells) -> Entries:
    """Read one sheet: its units, its records, every entry in base units."""
    findings: list[Finding] = []
    in_force: dict[str, str] = {}
    for field in (*sheet.fields, *sheet.columns):
        if field.key in found.cells:
            in_force[field.key] = _unit(sheet, field, found, cells, findings)
    rows = tuple(_records(sheet, found, cells))
    values: dict[str, Any] = {}
    for field in sheet.fields:
        if field.role == "entry":
            line = _column(field, [found.cells.get(field.key)], found, cells, in_force, findings)
            values[field.key] = _default(field, line)[0]
    for field in sheet.columns:
        if field.role == "entry":
            column = found.cells.get(field.key)
            places = [(row, column[1]) if column else None for row in rows]
            records = _column(field, places, found, cells, in_force, findings)
            values[field.key] = _default(field, records)
    weights = {
        column.key: weighed
        for column in sheet.columns
        if column.weighed_at and in_force.get(column.key)
        if np.isfinite(weighed := _weights(rows, found.cells[column.key][1], cells)).any()
    }
    return Entries(sheet, found, rows, values, in_force, tuple(findings), weights=weights)


def _weights(rows: Sequence[int], column: int, cells: Cells) -> Weights:
    """What was weighed in a column of volumes, kg; NaN where a volume stands, or nothing."""
    texts = (cells[row, column].value if (row, column) in cells else None for row in rows)
    read = (units.read_weight(text) if isinstance(text, str) else None for text in texts)
    return np.array([weight if weight and 0 < weight <= MOST else np.nan for weight in read], dtype=float)


def _default(field: Field, values: Any) -> Any:
    if field.default is None:
        return values
    blank = values == "" if values.dtype == object else np.isnan(values)
    return np.where(blank, field.default, values)


def _records(sheet: Sheet, found: Found, cells: Cells) -> Iterator[int]:
    """The rows of the table that hold an entry; the person's own totals and remarks are not records.

    A table without entries is computed as a whole, and its ready rows are its records.
    """
    if found.first_row and not any(column.role == "entry" for column in sheet.columns):
        yield from range(found.first_row, found.first_row + sheet.records)
        return
    columns = {found.cells[c.key][1]: c for c in sheet.columns if c.role == "entry" and c.key in found.cells}
    by_row: dict[int, list[tuple[Field, Cell]]] = {}
    for (row, column), cell in cells.items():
        # A formula that shows nothing is no entry.
        if found.first_row and row >= found.first_row and column in columns and cell.value != "":
            by_row.setdefault(row, []).append((columns[column], cell))
    if len(by_row) > sheet.most:
        raise BadWorkbook(
            f'The sheet "{brief(found.tab)}" has more than {sheet.most:,} rows with entries; '
            "begin a new workbook, or delete what was copied down too far."
        )
    for row in sorted(by_row):
        if not _is_totals(by_row[row]) and not _is_remark(by_row[row]):
            yield row


def is_total(text: str) -> bool:
    """Whether a text is what people write before totals and averages."""
    return bool(_TOTALS.fullmatch(text.strip()))


def _is_totals(cells: list[tuple[Field, Cell]]) -> bool:
    """A label such as 'Total:' and otherwise only formulas."""
    typed = [cell.value for _, cell in cells if not cell.formula]
    return len(typed) == 1 and isinstance(typed[0], str) and is_total(typed[0])


def _is_remark(cells: list[tuple[Field, Cell]]) -> bool:
    """Nothing but words, in a column that holds none."""
    (field, cell) = cells[0]
    worded = isinstance(cell.value, str) and bool(re.match(r"\W*[^\W\d]{2}", cell.value))
    return len(cells) == 1 and field.quantity not in ("text", "choice") and worded and not cell.formula


def _unit(sheet: Sheet, field: Field, found: Found, cells: Cells, findings: list[Finding]) -> str:
    """The unit label in force for a field; '' (and a finding) where it can't be told."""
    if not field.units:
        return ""
    place = found.units.get(field.key)
    cell = cells.get(place) if place else None
    text = str(cell.value).strip().removesuffix(".0") if cell and cell.value is not None else ""
    label = units.label_of(text, field.quantity) if text else field.blank_unit
    if label:
        return label
    standing = set(field.unit.values())
    if not text and len(standing) == 1:
        label = standing.pop()
        said = f"Its unit is missing; it was taken to be {label}."
        problem = Problem("note", "unit_missing", said, "Choose the unit in the unit cell.")
        findings.append(_finding(problem, field, found, found.cells[field.key]))
        return label
    below = "below it" if field in sheet.columns else "left of it"
    if not text:
        said, also = "Its unit is missing.", ""
    elif text[0].isdigit():
        said, also = f"{units.short(text)} stands where its unit belongs.", f"; the value belongs {below}"
    else:
        said, also = f"{units.short(text)} is no unit of this{units.nearly(text, field.quantity)}.", ""
    whole = "The whole column" if field in sheet.columns else "Its line"
    problem = Problem(
        "error",
        "unit_unknown",
        f"{said} {whole} {'is not read' if field.role == 'entry' else 'stays blank'}.",
        f"Choose one of {', '.join(field.units)} in the unit cell{also}.",
    )
    findings.append(_finding(problem, field, found, place or found.cells[field.key]))
    return ""


def _column(
    field: Field,
    places: Sequence[Position | None],
    found: Found,
    cells: Cells,
    in_force: dict[str, str],
    findings: list[Finding],
) -> Any:
    """One field's values over all its places."""
    is_text = field.quantity in ("text", "choice")
    values = np.full(len(places), "" if is_text else np.nan, dtype=object if is_text else float)
    unread = bool(field.units) and not in_force.get(field.key)
    order = _date_order(cells, places) if field.quantity == "moment" else ""
    month_first = order == "month" or (not order and bool({"°F", "gal"} & set(in_force.values())))
    told = False
    for index, place in enumerate(places):
        cell = cells.get(place) if place else None
        if place is None or cell is None or unread:
            continue
        value, problem = read_cell(cell, field, in_force[field.key], month_first)
        values[index] = value
        if problem and problem.rule == "date_in_doubt":
            # One that is certain settles the others; one flag says it for all that are not.
            problem = None if order else problem
            order = order or "told"
        if field.quantity == "moment" and isinstance(cell.value, str) and np.isfinite(value) and not told:
            problem, told = problem or DATE_AS_TEXT, True
        if problem:
            findings.append(_finding(problem, field, found, place))
    return values


def read_cell(
    cell: Cell, field: Field, unit: str, month_first: bool = False
) -> tuple[float | str, Problem | None]:
    """One cell -> its value in base units (or text), and what is wrong with it."""
    is_text = field.quantity in ("text", "choice")
    blank: float | str = "" if is_text else np.nan
    if cell.kind == "blank":
        problem = Problem(
            "warning",
            "formula_without_result",
            "The formula in this cell has no stored result.",
            "Open the workbook in your spreadsheet program, save it there and fill it again.",
        )
        return blank, problem if cell.formula else None
    if cell.kind == "error":
        what = f"The cell shows {units.one_line(str(cell.value), 40)}."
        return blank, Problem("error", "formula_fails", what, "Correct the formula, or type the value.")
    if field.quantity == "text":
        return _as_text(cell), None
    try:
        if field.quantity == "choice":
            return _choice(_as_text(cell), field), None
        if field.quantity == "moment":
            return _moment(cell, month_first)
        return _number(cell, field, unit)
    except ValueError as error:
        advice = WEIGHED if field.weighed_at else HOW_TO_TYPE.get(field.quantity, TYPE_ANEW)
        return blank, Problem("error", "unreadable", f"{error}.", advice)


def _as_text(cell: Cell) -> str:
    if cell.kind == "moment" and isinstance(cell.value, float):
        return f"{units.moment(cell.value):%Y-%m-%d}"
    if isinstance(cell.value, float):
        return f"{cell.value:.10g}"
    return str(cell.value).strip()


def _choice(text: str, field: Field) -> str:
    meant = field.also.get(text.casefold(), text)
    for choice in field.choices:
        if choice.casefold() == meant.casefold():
            return choice
    raise ValueError(f"{units.short(text)} is not one of {', '.join(field.choices)}")


def _moment(cell: Cell, month_first: bool) -> tuple[float, Problem | None]:
    if isinstance(cell.value, str):
        if not cell.value.strip():
            return np.nan, None
        value, doubt = units.read_moment(cell.value, month_first)
    elif isinstance(cell.value, float) and cell.kind in ("number", "moment"):
        value, doubt = cell.value, False
    else:
        raise ValueError(f"{units.short(str(cell.value))} is not a date; write it as 2026-03-04 18:30")
    if not EARLIEST <= value <= LATEST:
        raise ValueError(f"{units.short(_as_text(cell))} is not a date of our times")
    if not doubt:
        return value, None
    text = units.short(str(cell.value))
    return value, Problem(
        "warning",
        "date_in_doubt",
        f"{text} was read as {units.moment(value):%d %B %Y}; day and month could be the other way round.",
        "Write it year first, such as 2026-03-04.",
    )


def _number(cell: Cell, field: Field, unit: str) -> tuple[float, Problem | None]:
    if cell.kind == "moment" and isinstance(cell.value, float):
        day = units.moment(cell.value)
        raise ValueError(
            f"This cell holds the date {day:%d %B %Y}: the spreadsheet took a number, such as 4.3, for a date"
        )
    if isinstance(cell.value, bool) or cell.value is None:
        raise ValueError(f"{cell.value} is not a number")
    if isinstance(cell.value, str):
        if not cell.value.strip():
            return np.nan, None
        if parts := units.read_parts(cell.value, field.quantity):
            return _plausible(parts[0], field, parts[1], "")
        weight = units.read_weight(cell.value) if field.weighed_at else None
        if weight and 0 < weight <= MOST:
            # The strength beside it tells the volume, when everything is read.
            return np.nan, None
        reading = units.read_number(cell.value)
    else:
        share = 100.0 if cell.kind == "percent" and "%" in unit else 1.0
        reading = units.Reading(cell.value * share, "", "")
    if not abs(reading.value) <= MOST_TYPED:
        return np.nan, IMPOSSIBLE
    value, used = units.convert(reading, field.quantity, unit)
    if field.quantity == "gravity" and not reading.unit:
        value = _gravity_scale(reading.value, value, unit)
    return _plausible(value, field, used, "" if field.quantity == "gravity" else reading.doubt)


def _gravity_scale(typed: float, value: float, unit: str) -> float:
    """A hydrometer's thousandths (1045) and SG (1.045) are told apart by their size alone."""
    if 900 < typed < 1300 and unit in ("SG", "points"):
        return typed / 1000
    return typed if 0.9 < typed < 1.3 and unit in ("points", "kg/m3") else value


def _plausible(value: float, field: Field, unit: str, doubt: str) -> tuple[float, Problem | None]:
    if not np.isfinite(value) or abs(value) > MOST:
        return np.nan, IMPOSSIBLE
    if 0 < abs(value) < LEAST:
        return np.nan, TOO_SMALL
    shown = units.show_exactly(value, field.quantity, unit)
    if value < 0 and field.quantity in NEVER_NEGATIVE:
        return np.nan, Problem("error", "negative", f"{shown} is below zero.", AGAIN)
    low = -np.inf if field.low is None else field.low
    high = np.inf if field.high is None else field.high
    if doubt:
        advice = "If the comma was meant for thousands, type the number without it."
        return value, Problem("warning", "comma_in_doubt", f"{doubt}.", advice)
    if not low <= value <= high:
        bound = f"below {units.show_exactly(low, field.quantity, unit)}"
        if value > high:
            bound = f"above {units.show_exactly(high, field.quantity, unit)}"
        fit = meant.in_words(value, field.quantity, unit, low, high)
        message = f"{shown} is {bound}, the limit that was set here. {fit}".strip()
        return value, Problem("warning", "outside_limits", message, IF_RIGHT)
    return value, None


def _date_order(cells: Cells, places: Sequence[Position | None]) -> str:
    """'day' or 'month', as another date in the column can only have it first; '' where none tells."""
    texts = (cells[place].value for place in places if place and place in cells)
    found = [re.match(r"\s*(\d{1,2})[/-](\d{1,2})[/-]\d{4}", text) for text in texts if isinstance(text, str)]
    if any(match and int(match[2]) > 12 for match in found):
        return "month"
    return "day" if any(match and int(match[1]) > 12 for match in found) else ""


def _finding(problem: Problem, field: Field, found: Found, place: Position) -> Finding:
    heading = found.headings.get(field.key, field.heading)
    return Finding(problem.level, found.tab, heading, *place, problem.rule, problem.message, problem.advice)
