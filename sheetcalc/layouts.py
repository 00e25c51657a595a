"""The sheets of a workbook, as `workbook_templates/*.toml` describe them."""

import dataclasses
import re
import tomllib
from collections import Counter
from collections.abc import Iterable, Set
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from string import Formatter
from typing import Any, Literal, NamedTuple, get_args

from sheetcalc import number_formats, units

Role = Literal["entry", "computed", "flag"]
System = Literal["metric", "us"]
Words = Literal["title", "heading", "text", "standing", "step", "caution"]
Swatch = Literal["entry", "computed", "flag", "error", "note", "stale"]
Style = Words | Swatch
STYLES = (*get_args(Words), *get_args(Swatch))
ChartKind = Literal["line", "scatter", "bar"]
INSTRUMENTS = ("hydrometer", "alcoholmeter", "thermometer", "still_thermometer", "measure", "vessel", "scale")
REGISTER = "register"  # the workbook that gathering makes; nobody begins one by hand
SYNONYMS = "synonyms"  # the file that tells what people call our keys, no workbook
MOST_RECORDS = 10_000  # a reading every quarter of an hour for three months
COUNT = "count"  # of a table's records, in what tells where a sheet stands
MOST_DRAWN = 3  # more columns in one chart can't be told apart in grey print


class Needs(NamedTuple):
    """The entries a result comes from: keys in its own row, and (sheet, key) anywhere else."""

    beside: frozenset[str]
    elsewhere: frozenset[tuple[str, str]]


class LayoutError(Exception):
    """A layout file that can't be used; the message names the file, the table and the key."""


@dataclass(frozen=True)
class Field:
    """One line of a card or one column of a table.

    `low`, `high` and `default` are in base units; `unit` and `digits` hold one value for each
    unit system. A field with no unit holds text, a moment or a plain number. `measured_with` is the
    instrument an entry was read from, and `corrected` tells that its correction is in it already. `also`
    tells which of the choices is meant by other words, in small letters. `weighed_at` is the key of the
    strength at which a weight, typed for a volume, is taken for one. `blank_unit` is what a blank unit cell
    means, where the field had none in older templates.
    """

    key: str
    heading: str
    help: str
    role: Role
    quantity: str
    unit: dict[System, str]
    digits: dict[System, int]
    choices: tuple[str, ...]
    low: float | None
    high: float | None
    default: float | str | None
    needed: bool
    width: float
    format: str | None
    measured_with: str = ""
    corrected: bool = False
    weighed_at: str = ""
    blank_unit: str = ""
    also: dict[str, str] = dataclasses.field(default_factory=dict)

    @property
    def units(self) -> tuple[str, ...]:
        """The unit labels a person may choose for this field; empty where nothing is measured."""
        return units.choices(self.quantity)

    @property
    def offered(self) -> tuple[str, ...]:
        """Those of its unit labels that stand in its drop-down."""
        bottles = self.quantity == "volume" and set(self.unit.values()) == {"mL"}
        return tuple(label for label in self.units if bottles or label not in units.BOTTLE_UNITS)

    def number_format(self, system: System) -> str:
        """The number format of the field's cells, as both file formats write it."""
        if self.format:
            return self.format
        if self.quantity in ("text", "choice"):
            return "General"
        if self.quantity == "moment":
            return "yyyy-mm-dd hh:mm"
        shown = number_formats.typed if self.role == "entry" else number_formats.computed
        return shown(self.quantity, self.unit.get(system, ""), self.digits[system])


@dataclass(frozen=True)
class Line:
    """One line of a page: its text and how it is set; a `name` leads to the cell of its text."""

    style: Style
    text: str
    link: str
    name: str = ""


@dataclass(frozen=True)
class Chart:
    """A chart of the records of another sheet's table, or of the first `records` rows.

    A line chart joins its points in the order of the records, with a gap where one is blank. A scatter
    chart shows the first key of `y` as points and those after it, which they are compared with, as lines. A
    bar chart has a text column as `x`. Behind the titles of the axes stands the workbook's first unit.
    """

    title: str
    kind: ChartKind
    sheet: str
    x: str
    y: tuple[str, ...]
    x_title: str
    y_title: str
    intro: str
    records: int | None


@dataclass(frozen=True)
class Sheet:
    """One sheet: a card (`fields`), a table (`columns`), both, a page (`lines`), or `charts`.

    A table that `grows` is written by us line by line, below the ready rows, too: charts reach down there,
    and its first column stays in sight. One with more than `most` records is refused. `stands` are the
    sentences by which the first sheet tells where this one stands: keys in braces are those of its last
    record or the batch card, {count} how many it has. `next` is what comes after it in the work: the first of
    these texts whose keys are filled in; a sheet without one is no stage of it.
    """

    key: str
    title: str
    intro: str
    landscape: bool
    records: int
    fields: tuple[Field, ...]
    columns: tuple[Field, ...]
    lines: tuple[Line, ...]
    prefilled: tuple[dict[str, dict[System, float | str]], ...]
    charts: tuple[Chart, ...] = ()
    grows: bool = False
    most: int = MOST_RECORDS
    stands: str = ""
    next: tuple[str, ...] = ()

    @property
    def ready(self) -> int:
        """How many rows of the table stand ready for records."""
        return max(self.records, len(self.prefilled))

    @cached_property
    def names(self) -> frozenset[str]:
        """What its fields and columns are called in a workbook's list of names: sheet and key."""
        return frozenset(f"{self.key}_{field.key}" for field in (*self.fields, *self.columns))

    @cached_property
    def column_keys(self) -> frozenset[str]:
        """The keys of its columns."""
        return frozenset(column.key for column in self.columns)

    @cached_property
    def _by_key(self) -> dict[str, Field]:
        return {field.key: field for field in (*self.columns, *self.fields)}

    def field(self, key: str) -> Field | None:
        """The field or column with this key, if the layout has it."""
        return self._by_key.get(key)


@dataclass(frozen=True)
class Layout:
    """A kind of workbook: its name, its sheets in order and the version they are in."""

    name: str
    title: str
    sheets: tuple[Sheet, ...]
    version: int = 1


def system_of(stand_in: Iterable[tuple[Field, str]]) -> System:
    """The unit system that most fields stand in, by the label that each has; metric in doubt."""
    votes = Counter(
        name
        for field, label in stand_in
        for name, unit in field.unit.items()
        if field.unit["metric"] != field.unit["us"] and unit == label
    )
    return "us" if votes["us"] > votes["metric"] else "metric"


def folder() -> Path:
    """Where the templates are: inside an installed package, or beside it in a checkout."""
    inside = Path(__file__).parent / "workbook_templates"
    return inside if inside.is_dir() else Path(__file__).parent.parent / "workbook_templates"


def kinds(templates: Path | None = None) -> tuple[str, ...]:
    """The names of the workbooks that a person can begin."""
    names = (path.stem for path in (templates or folder()).glob("*.toml"))
    return tuple(sorted(name for name in names if name not in (REGISTER, SYNONYMS)))


@cache
def load(name: str, templates: Path | None = None) -> Layout:
    """Read a workbook's layout.

    name: a name out of `kinds()`, or REGISTER. Raises LayoutError, naming file, table and key.
    """
    templates = templates or folder()
    path = templates / f"{name}.toml"
    found = parse(path)
    only(path, "the file", found, {"title", "version", "sheets"})
    names = take(path, "the file", found, "sheets", list)
    sheets = tuple(_sheet(templates / "sheets" / f"{key}.toml") for key in names)
    for sheet in sheets:
        for number, chart in enumerate(sheet.charts, start=1):
            _check_chart(f"{sheet.key}.toml, {_chart_at(number, chart.title)}", chart, sheets)
    return Layout(
        name=name,
        title=take(path, "the file", found, "title", str),
        sheets=sheets,
        version=take(path, "the file", found, "version", int, 1),
    )


def made_from(keys: Set[str]) -> Layout:
    """The layout a workbook with these sheets was made from: the smallest that has them all."""
    made = sorted((load(kind) for kind in kinds()), key=lambda layout: len(layout.sheets))
    fitting = (layout for layout in made if keys <= {sheet.key for sheet in layout.sheets})
    return next(fitting, made[-1])


@cache
def every_sheet(templates: Path | None = None) -> dict[str, Sheet]:
    """Every sheet of every layout, by key, in the order of the layouts."""
    return {s.key: s for kind in kinds(templates) for s in load(kind, templates).sheets}


@cache
def _sheet(path: Path) -> Sheet:
    found = parse(path)
    allowed = {"title", "intro", "landscape", "records", "grows", "most", "stands", "next"}
    allowed |= {"fields", "columns", "lines", "prefilled", "charts"}
    only(path, "the file", found, allowed)
    fields = _fields(path, "fields", found)
    columns = _fields(path, "columns", found)
    lines = tuple(_line(path, number, line) for number, line in tables(path, "lines", found))
    charts = tuple(_chart(path, number, chart) for number, chart in tables(path, "charts", found))
    if not (fields or columns or lines or charts):
        raise LayoutError(
            f"{path.name}: the sheet has no [[fields]], no [[columns]], no [[lines]] and no [[charts]]."
        )
    if charts and (fields or columns or lines):
        raise LayoutError(f"{path.name}: [[charts]] stand on a sheet of their own.")
    _unlike(path, [f.key for f in (*fields, *columns)])
    by_key = {c.key: c for c in columns}
    known = {COUNT, *(field.key for field in (*fields, *columns)), *_keys_of_card(path)}
    return Sheet(
        key=path.stem,
        title=take(path, "the file", found, "title", str),
        intro=take(path, "the file", found, "intro", str, ""),
        landscape=take(path, "the file", found, "landscape", bool, True),
        records=take(path, "the file", found, "records", int, 60),
        fields=fields,
        columns=columns,
        lines=lines,
        prefilled=tuple(
            _prefilled(path, number, row, by_key) for number, row in tables(path, "prefilled", found)
        ),
        charts=charts,
        grows=take(path, "the file", found, "grows", bool, False),
        most=take(path, "the file", found, "most", int, MOST_RECORDS),
        stands=_in_words(path, "stands", take(path, "the file", found, "stands", str, ""), known),
        next=tuple(_in_words(path, "next", text, known) for text in _texts(path, "next", found)),
    )


def _keys_of_card(path: Path) -> set[str]:
    """The keys of the batch card beside another sheet."""
    card = path.with_name("batch.toml")
    return {field.key for field in _sheet(card).fields} if path != card and card.is_file() else set()


def _texts(path: Path, name: str, found: dict[str, Any]) -> list[str]:
    """One text, or a list of them."""
    if isinstance(found.get(name, ""), str):
        return [found[name]] if name in found else []
    texts = take(path, "the file", found, name, list)
    if not all(isinstance(text, str) for text in texts):
        raise LayoutError(f"{path.name}: {name!r} is {texts!r}; it has to be a text or a list of texts.")
    return list(texts)


def _in_words(path: Path, name: str, text: str, known: Set[str]) -> str:
    """Sentences with keys of the sheet, or of the batch card, in them."""
    try:
        keys = {key for _, key, _, _ in Formatter().parse(text) if key is not None}
    except ValueError as error:
        raise LayoutError(f"{path.name}: {name!r} can't be read: {error}.") from None
    for key in sorted(keys - known):
        raise LayoutError(f"{path.name}: {name!r} names {key!r}; this sheet and the card have {_or(known)}.")
    return text


def _fields(path: Path, table: str, found: dict[str, Any]) -> tuple[Field, ...]:
    return tuple(_field(path, f"[[{table}]] {n}", entry) for n, entry in tables(path, table, found))


def _field(path: Path, where: str, entry: dict[str, Any]) -> Field:
    key = take(path, where, entry, "key", str)
    where = f"{where} (key {key!r})"
    known = {"key", "heading", "help", "role", "quantity", "unit", "digits", "choices", "also"}
    known |= {"low", "high", "default", "needed", "width", "format", "measured_with", "corrected"}
    known |= {"weighed_at", "blank_unit"}
    only(path, where, entry, known)
    if not key.isidentifier() or key != key.lower():
        raise LayoutError(f"{path.name}, {where}: a key is made of small letters, digits and '_'.")
    role = take(path, where, entry, "role", str)
    if role not in get_args(Role):
        raise LayoutError(f"{path.name}, {where}: role is {role!r}; it can be {_or(get_args(Role))}.")
    quantity = take(path, where, entry, "quantity", str)
    if quantity not in units.QUANTITIES:
        raise LayoutError(
            f"{path.name}, {where}: quantity is {quantity!r}; it can be {_or(units.QUANTITIES)}."
        )
    unit = _both(path, where, entry, "unit", str, "") if units.choices(quantity) else {}
    for label in (*unit.values(), *([entry["blank_unit"]] if "blank_unit" in entry else [])):
        if label not in units.choices(quantity):
            allowed = _or(units.choices(quantity))
            raise LayoutError(f"{path.name}, {where}: unit is {label!r}; for {quantity} it can be {allowed}.")
    if "digits" in entry:
        digits = _both(path, where, entry, "digits", int, 0)
    else:
        digits = {s: units.digits(quantity, unit.get(s, "")) for s in get_args(System)}
    choices = tuple(take(path, where, entry, "choices", list, []))
    if (quantity == "choice") != bool(choices):
        raise LayoutError(f"{path.name}, {where}: choices go with quantity 'choice', and it with them.")
    also = take(path, where, entry, "also", dict, {})
    only(path, f"{where}, also", also, set(choices))
    meant = {word: choice for choice in also for word in take(path, f"{where}, also", also, choice, list)}
    low = _number(path, where, entry, "low")
    high = _number(path, where, entry, "high")
    if low is not None and high is not None and low >= high:
        raise LayoutError(f"{path.name}, {where}: low ({low:g}) has to be smaller than high ({high:g}).")
    if "weighed_at" in entry and (quantity, role) != ("volume", "entry"):
        raise LayoutError(f"{path.name}, {where}: weighed_at goes with an entry of quantity 'volume'.")
    default = entry.get("default")
    if entry.get("measured_with", INSTRUMENTS[0]) not in INSTRUMENTS:
        raise LayoutError(f"{path.name}, {where}: measured_with can be {_or(INSTRUMENTS)}.")
    if default is not None and isinstance(default, str) != (quantity in ("text", "choice")):
        raise LayoutError(f"{path.name}, {where}: default {default!r} does not fit quantity {quantity!r}.")
    return Field(
        key=key,
        heading=take(path, where, entry, "heading", str),
        help=take(path, where, entry, "help", str),
        role=role,
        quantity=quantity,
        unit=unit,
        digits=digits,
        choices=choices,
        low=low,
        high=high,
        default=default if default is None or isinstance(default, str) else float(default),
        needed=take(path, where, entry, "needed", bool, False),
        width=float(take(path, where, entry, "width", (int, float), 12)),
        format=take(path, where, entry, "format", str, None),
        measured_with=take(path, where, entry, "measured_with", str, ""),
        corrected=take(path, where, entry, "corrected", bool, False),
        weighed_at=take(path, where, entry, "weighed_at", str, ""),
        blank_unit=take(path, where, entry, "blank_unit", str, ""),
        also=meant,
    )


def _line(path: Path, number: int, entry: dict[str, Any]) -> Line:
    where = f"[[lines]] {number}"
    only(path, where, entry, {"style", "text", "link", "name"})
    style = take(path, where, entry, "style", str)
    if style not in STYLES:
        raise LayoutError(f"{path.name}, {where}: style is {style!r}; it can be {_or(STYLES)}.")
    return Line(
        style=style,
        text=take(path, where, entry, "text", str),
        link=take(path, where, entry, "link", str, ""),
        name=take(path, where, entry, "name", str, ""),
    )


def _chart(path: Path, number: int, entry: dict[str, Any]) -> Chart:
    title = take(path, f"[[charts]] {number}", entry, "title", str)
    where = _chart_at(number, title)
    texts = ("sheet", "x", "x_title", "y_title", "intro")
    only(path, where, entry, {"title", "kind", "y", "records", *texts})
    kind = take(path, where, entry, "kind", str)
    if kind not in get_args(ChartKind):
        raise LayoutError(f"{path.name}, {where}: kind is {kind!r}; it can be {_or(get_args(ChartKind))}.")
    y = take(path, where, entry, "y", list)
    if not 1 <= len(y) <= MOST_DRAWN or not all(isinstance(key, str) for key in y):
        raise LayoutError(f"{path.name}, {where}: 'y' is {y!r}; it lists 1 to {MOST_DRAWN} keys.")
    _unlike(path, y)
    records = take(path, where, entry, "records", int, None)
    if records is not None and records < 1:
        raise LayoutError(f"{path.name}, {where}: 'records' is {records}; it has to be 1 or more.")
    named = {key: take(path, where, entry, key, str) for key in texts}
    return Chart(title=title, kind=kind, y=tuple(y), records=records, **named)


def _chart_at(number: int, title: str) -> str:
    return f"[[charts]] {number} (title {title!r})"


def _check_chart(where: str, chart: Chart, sheets: tuple[Sheet, ...]) -> None:
    """Raises LayoutError where a chart can't be drawn from the sheets of its workbook."""
    drawn = {sheet.key: sheet for sheet in sheets if sheet.columns}
    if chart.sheet not in drawn:
        raise LayoutError(f"{where}: sheet is {chart.sheet!r}; the tables of this workbook are {_or(drawn)}.")
    columns = {column.key: column for column in drawn[chart.sheet].columns}
    for axis, key in (("x", chart.x), *(("y", key) for key in chart.y)):
        if key not in columns:
            raise LayoutError(f"{where}: {axis} is {key!r}; {chart.sheet} has the columns {_or(columns)}.")
    along, first = columns[chart.x], columns[chart.y[0]]
    if (along.quantity in ("text", "choice")) != (chart.kind == "bar"):
        wanted = "a text" if chart.kind == "bar" else "a number or a moment"
        raise LayoutError(f"{where}: x is {chart.x!r}; a {chart.kind} chart has {wanted} there.")
    for column in (columns[key] for key in chart.y):
        if column.quantity in ("text", "choice", "moment"):
            raise LayoutError(f"{where}: y is {column.key!r}; only a number can be drawn.")
        if (column.quantity, column.unit) != (first.quantity, first.unit):
            raise LayoutError(
                f"{where}: y is {column.key!r} beside {first.key!r}; on one axis all have the same unit."
            )
    if chart.records and chart.records > drawn[chart.sheet].ready:
        ready = drawn[chart.sheet].ready
        raise LayoutError(f"{where}: 'records' is {chart.records}; {chart.sheet} has {ready} ready rows.")


def _prefilled(
    path: Path, number: int, row: dict[str, Any], columns: dict[str, Field]
) -> dict[str, dict[System, float | str]]:
    where = f"[[prefilled]] {number}"
    for key in row:
        if key not in columns or columns[key].role != "entry":
            raise LayoutError(f"{path.name}, {where}: {key!r} is not an entry column of this sheet.")
    return {key: _both(path, where, row, key, (str, int, float), None) for key in row}


def parse(path: Path) -> dict[str, Any]:
    """What a TOML file holds; raises LayoutError where it can't be read."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise LayoutError(f"{path.name}: there is no such layout file in {path.parent.name}.") from None
    except tomllib.TOMLDecodeError as error:
        raise LayoutError(f"{path.name}: not readable as TOML: {_amiss(path, str(error))}") from None
    except (OSError, UnicodeDecodeError) as error:
        raise LayoutError(f"{path.name}: not readable as TOML: {error}.") from None


def _amiss(path: Path, trouble: str) -> str:
    """The line of a file at which the reader of TOML stopped, and what it should look like."""
    at = re.search(r"at line (\d+)", trouble)
    lines = path.read_text(encoding="utf-8").splitlines()
    if not at or int(at[1]) > len(lines):
        return f"{trouble}. Look for a quote or a bracket that is not closed."
    line = lines[int(at[1]) - 1]
    key, equals, value = (part.strip() for part in line.partition("="))
    value = value.partition(" #")[0].strip(" \"'„“”‚‘’«»")
    if line.startswith("[["):
        wanted = "above it only the [[tables.columns]] of a part is on; take the '#' from its [[tables]], too"
    elif not equals or not value:
        wanted = 'a line is such as key = "reading", add = true or [[tables.columns]]'
    elif key in ("add", "write"):
        wanted = f"write {key} = true or {key} = false"
    else:
        wanted = f'a text stands in straight quotes: {key} = "{value}"'
    return f'line {at[1]} is "{units.one_line(line.strip(), 100)}"; {wanted}.'


def tables(path: Path, table: str, found: dict[str, Any]) -> list[tuple[int, dict[str, Any]]]:
    """The tables [[table]] of a part of a file, numbered from 1; raises LayoutError for anything else."""
    entries = found.get(table, [])
    if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
        raise LayoutError(f"{path.name}: {table} is written as [[{table}]], once for each.")
    return list(enumerate(entries, start=1))


def only(path: Path, where: str, entry: dict[str, Any], known: set[str]) -> None:
    """Raises LayoutError where a table has a key that is not known there."""
    for key in entry:
        if key not in known:
            raise LayoutError(f"{path.name}, {where}: {key!r} is not known here; known are {_or(known)}.")


def _unlike(path: Path, keys: list[str]) -> None:
    for key in keys:
        if keys.count(key) > 1:
            raise LayoutError(f"{path.name}: the key {key!r} stands there twice.")


def take(path: Path, where: str, entry: dict[str, Any], key: str, kind: Any, *default: Any) -> Any:
    """A value of a table, or the default; raises LayoutError where it is missing or of another kind."""
    if key not in entry:
        if default:
            return default[0]
        raise LayoutError(f"{path.name}, {where}: {key!r} is missing.")
    if not isinstance(entry[key], kind) or (isinstance(entry[key], bool) and kind is not bool):
        name = {str: "a text", int: "a whole number", bool: "true or false", list: "a list"}
        raise LayoutError(
            f"{path.name}, {where}: {key!r} is {entry[key]!r}; it has to be {name.get(kind, 'a number')}."
        )
    return entry[key]


def _both(path: Path, where: str, entry: dict[str, Any], key: str, kind: Any, default: Any) -> dict[Any, Any]:
    """A value for each unit system: written once for both, or as a table with metric and us."""
    if not isinstance(entry.get(key), dict):
        value = take(path, where, entry, key, kind, *([] if default == "" else [default]))
        return dict.fromkeys(get_args(System), value)
    only(path, f"{where}, {key}", entry[key], set(get_args(System)))
    return {system: take(path, f"{where}, {key}", entry[key], system, kind) for system in get_args(System)}


def _number(path: Path, where: str, entry: dict[str, Any], key: str) -> float | None:
    value = take(path, where, entry, key, (int, float), None)
    return None if value is None else float(value)


def _or(names: Any) -> str:
    return ", ".join(sorted(map(str, names)))
