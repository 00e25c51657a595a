"""The computed columns in the order of their needs, and what the checks find."""

from collections.abc import Iterable, Iterator, Mapping, Set
from functools import cache
from string import Formatter
from typing import Any

import numpy as np

from sheetcalc import layouts, meant, uncertainty, units
from sheetcalc.entries import EARLIEST, LATEST, Entries
from sheetcalc.findings import Finding
from sheetcalc.layouts import Field, Layout, Needs, Sheet
from sheetcalc.liquids import Array, spirit
from sheetcalc.stages import registry
from sheetcalc.stages.cuts import OF_ONE_RUN as OF_ONE_RUN

A_DAY = "yyyy-mm-dd"  # the format of moments of which only the day counts
LONGEST_TEXT = 200  # of somebody's own words in a sentence
SHEETS = "sheets_"  # before the keys of sheets in a sentence, which tells what the person calls them
# Where a key is looked for when the sheet itself does not have it.
SHARED = ("batch", "instruments")
# Behind a key: the label of the unit its cells stand in, as text.
UNIT = "_unit"


class Values:
    """Every value of a workbook by sheet and key: typed, or computed on first use."""

    def __init__(
        self,
        entries: Mapping[str, Entries],
        instead: Mapping[tuple[str, str], Any] | None = None,
        base: "Values | None" = None,
    ) -> None:
        """With `base`, the values of a workbook where those of `instead` stand and all else is as there."""
        self.entries = entries
        self.causes: tuple[uncertainty.Cause, ...] | None = None
        self._known: dict[tuple[str, str], Any] = dict(instead or {})
        self._instead = frozenset(self._known)
        self._base = base
        self._homes: dict[tuple[str, str], tuple[str, str]] = base._homes if base else {}
        self._sheets: list[str] = base._sheets if base else sorted(registry.COLUMNS.keys() | entries.keys())
        self._moved: list[Values] = []

    def moved(self, instead: Mapping[tuple[str, str], Any]) -> "Values":
        """The values with others instead of some."""
        self._moved.append(Values(self.entries, instead, self))
        return self._moved[-1]

    def get(self, sheet: str, key: str) -> Any:
        """The values of a key, as a function of that sheet sees them; blank where nothing has it.

        Raises RecursionError where columns need each other in a circle.
        """
        node = self.home(sheet, key)
        if node not in self._known:
            if self._base and not self._differs(*node):
                self._known[node] = self._base.get(*node)
            else:
                self._known[node] = self._make(*node)
        return self._known[node]

    def _differs(self, home: str, own: str) -> bool:
        """Whether a key comes from one of the other values, and is not what the person acted by."""
        return not _is_decided(home, own) and not self._instead.isdisjoint(_behind(home, own))

    def behind(self, sheet: str, key: str) -> frozenset[tuple[str, str]]:
        """A key and every key it comes from, by any way, each with the sheet that holds it."""
        return _behind(sheet, key)

    def home(self, sheet: str, key: str) -> tuple[str, str]:
        """The sheet that holds a key, and its key there."""
        node = sheet, key
        if node not in self._homes:
            self._homes[node] = self._home(sheet, key)
        return self._homes[node]

    def _home(self, sheet: str, key: str) -> tuple[str, str]:
        for place in (sheet, *SHARED):
            if self._has(place, key):
                return place, key
        for place in self._sheets:
            if key.startswith(f"{place}_"):
                return place, key.removeprefix(f"{place}_")
        return sheet, key

    def _has(self, sheet: str, key: str) -> bool:
        """Whether the sheet has the key, or would have it if it were in the workbook."""
        key = key.removesuffix(UNIT)
        if _column(sheet, key):
            return True
        if sheet in self.entries:
            return key in self.entries[sheet].values
        look = layouts.every_sheet().get(sheet)
        return look is not None and look.field(key) is not None

    def anew(self, sheet: str, key: str) -> Any:
        """The values of a key that `get` would take from the base as decided."""
        return self._make(sheet, key) if _is_decided(sheet, key) else self.get(sheet, key)

    def _make(self, sheet: str, key: str) -> Any:
        column = registry.COLUMNS.get(sheet, {}).get(key)
        entries = self.entries.get(sheet)
        if column:
            if column.by_row and self._base:
                self._base._make_moved(sheet, key, column)
                return self._known[sheet, key]
            made = column.function(*(self.get(sheet, need) for need in column.needs))
            field = entries.sheet.field(key) if entries else None
            return _of_our_times(made) if field and field.quantity == "moment" else made
        if entries and key in entries.weights:
            return self._with_weighed(entries, key)
        if entries and key in entries.values:
            return entries.values[key]
        if key.endswith(uncertainty.ENDING):
            return uncertainty.expanded(self, sheet, key.removesuffix(uncertainty.ENDING))
        look = entries.sheet if entries else layouts.every_sheet().get(sheet)
        if key.endswith(UNIT):
            field = look.field(key.removesuffix(UNIT)) if look else None
            return _label(entries, field) if entries and field else ""
        if sheet == "batch" or (look and any(field.key == key for field in look.fields)):
            return np.array(np.nan)
        return np.full(len(entries.rows) if entries else 0, np.nan)

    def _make_moved(self, sheet: str, key: str, column: registry.Column) -> None:
        """A column in all the moved values that it differs in, computed at once."""
        differing = [moved for moved in self._moved if moved._differs(sheet, key)]
        differing = [moved for moved in differing if (sheet, key) not in moved._instead]
        needed = [[moved.get(sheet, need) for need in column.needs] for moved in differing]
        for moved, made in zip(differing, uncertainty.side_by_side(column.function, needed), strict=True):
            moved._known[sheet, key] = made

    def _with_weighed(self, entries: Entries, key: str) -> Array:
        """Volumes (L), those that were weighed by the strength beside them."""
        field = entries.sheet.field(key)
        assert field is not None
        at = np.asarray(self.get(entries.sheet.key, field.weighed_at), dtype=float)
        weighed = entries.weights[key]
        return np.where(np.isnan(weighed), entries.values[key], spirit.volume_of_weight(weighed, at))


def needs(layout: Layout) -> dict[tuple[str, str], Needs]:
    """What every result of a workbook of this layout comes from, by sheet and key.

    Flags are judged again as a whole: they come from all that the sheet's checks look at, and from
    their own row.
    """
    return {
        (sheet.key, field.key): _sorted(layout, sheet, field)
        for sheet in layout.sheets
        for field in (*sheet.fields, *sheet.columns)
        if field.role != "entry"
    }


def _sorted(layout: Layout, sheet: Sheet, field: Field) -> Needs:
    """The entries of the workbook that a result comes from, those in its own row apart."""
    typed = {
        (s.key, f.key): f in s.columns
        for s in layout.sheets
        for f in (*s.fields, *s.columns)
        if f.role == "entry"
    }
    if field.role == "flag":
        found = {
            source: True
            for check in registry.CHECKS.get(sheet.key, [])
            for need in check.needs
            for source in _sources(sheet.key, need)
        }
        found |= {(sheet.key, f.key): True for f in (*sheet.fields, *sheet.columns)}
    elif _column(sheet.key, field.key):
        found = _sources(sheet.key, field.key)
    else:
        # The lines of the findings may come from anything.
        found = dict.fromkeys(typed, True)
    found = {source: across for source, across in found.items() if source in typed}
    beside = {
        key
        for (home, key), across in found.items()
        if home == sheet.key and not across and field in sheet.columns and typed[home, key]
    }
    return Needs(frozenset(beside), frozenset(found.keys() - {(sheet.key, key) for key in beside}))


def _is_decided(sheet: str, key: str) -> bool:
    column = registry.COLUMNS.get(sheet, {}).get(key)
    return column is not None and column.decided


def _column(sheet: str, key: str) -> registry.Column | None:
    """The function behind a key, or behind the result whose uncertainty it is."""
    columns = registry.COLUMNS.get(sheet, {})
    return columns.get(key) or columns.get(key.removesuffix(uncertainty.ENDING))


@cache
def _behind(sheet: str, key: str) -> frozenset[tuple[str, str]]:
    home, own = Values({}).home(sheet, key)
    column = _column(home, own)
    return frozenset({(home, own)}).union(*(_behind(home, need) for need in (column.needs if column else ())))


@cache
def _sources(sheet: str, key: str) -> dict[tuple[str, str], bool]:
    """The keys without a function that this one comes from; True where more than its own row counts."""
    home, own = Values({}).home(sheet, key)
    column = _column(home, own)
    if column is None:
        return {(home, own): home != sheet}
    found: dict[tuple[str, str], bool] = {}
    for need in column.needs:
        for source, across in _sources(home, need).items():
            found[source] = found.get(source, False) or across or column.across or home != sheet
    return found


def _of_our_times(moments: Any) -> Any:
    """Computed moments; blank where absurd entries would put them out of every calendar."""
    return np.where((moments >= EARLIEST) & (moments <= LATEST), moments, np.nan)


def findings(values: Values) -> Iterator[Finding]:
    """What could not be read, what is not filled in, and what the checks find, sheet by sheet."""
    for sheet, entries in values.entries.items():
        told = {(f.row, f.place) for f in entries.findings}
        found = [f for check in registry.CHECKS.get(sheet, []) for f in _checked(values, sheet, check, told)]
        explained = {(f.row, f.place) for f in found if f.level != "note"}
        for finding in entries.findings:
            if finding.rule != "outside_limits" or (finding.row, finding.place) not in explained:
                yield finding
        yield from _not_filled_in(entries)
        yield from _weighed(values, entries)
        yield from found


def _checked(
    values: Values, sheet: str, check: registry.Check, told: Set[tuple[int, int]]
) -> Iterator[Finding]:
    entries = values.entries[sheet]
    if check.cell not in entries.found.cells:
        return
    about, in_table = (check.cell, *check.needs), entries.is_column(check.cell)
    if in_table and not entries.rows:
        return
    result = check.function(*(values.get(sheet, need) for need in check.needs))
    wrong, more = result if isinstance(result, tuple) else (result, {})
    for record in np.flatnonzero(np.atleast_1d(wrong)):
        if check.level == "note" and _about_unread(entries, told, about, int(record), in_table):
            continue
        shown = _Shown(values, sheet, int(record), more)
        slip = _slip(values, sheet, check.cell, int(record), *more["fits"]) if "fits" in more else ""
        yield Finding(
            check.level,
            entries.found.tab,
            entries.found.headings[check.cell],
            *entries.cell(check.cell, int(record)),
            check.rule,
            f"{check.says.format_map(shown).strip()} {slip}".strip(),
            check.advice.format_map(shown),
            check.danger,
        )


def _about_unread(
    entries: Entries, told: Set[tuple[int, int]], keys: Iterable[str], record: int, in_table: bool
) -> bool:
    """Whether one of the cells that a note is about is not blank, but could not be read or was weighed.

    told: row and column of the cells that reading had something to say of.
    """
    for key in keys:
        column = entries.is_column(key)
        if key in entries.values and key in entries.found.cells and (in_table or not column):
            value = entries.values[key][record] if column else entries.values[key]
            typed = entries.cell(key, record) in told or (column and _is_weighed(entries, key, record))
            if typed and all_blank(value):
                return True
    return False


def _is_weighed(entries: Entries, key: str, record: int) -> bool:
    return key in entries.weights and bool(np.isfinite(entries.weights[key][record]))


def in_words(values: Values, sheet: str, text: str) -> str:
    """A text with the values of a sheet's last record in it, without the sentences that lack one."""
    rows, last = len(values.entries[sheet].rows), _last(values.entries[sheet])
    shown = _Shown(values, sheet, last, {layouts.COUNT: (np.array(float(rows)), layouts.COUNT)})
    sentences = []
    for sentence in text.split(". "):
        keys = [key for _, key, _, _ in Formatter().parse(sentence) if key]
        if all(_is_there(values, sheet, key, rows, last) for key in keys):
            sentences.append(sentence.format_map(shown).removesuffix("."))
    return "".join(f"{sentence}. " for sentence in sentences).rstrip()


def _last(entries: Entries) -> int:
    """The latest record by the first column of moments, or else the lowest; people sort either way."""
    moments = next((c.key for c in entries.sheet.columns if c.quantity == "moment" and c.role == "entry"), "")
    when = entries.values.get(moments, np.array([]))
    return int(np.nanargmax(when)) if np.isfinite(when).any() else len(entries.rows) - 1


def _is_there(values: Values, sheet: str, key: str, rows: int, last: int) -> bool:
    """Whether the last record of a sheet, or its card, holds a key."""
    if key == layouts.COUNT:
        return rows > 0
    held = np.atleast_1d(values.get(sheet, key))
    return len(held) > 0 and not _is_blank(held[last if len(held) == rows else -1])


def _slip(values: Values, sheet: str, key: str, record: int, low: Any, high: Any) -> str:
    """The slip of the hand that explains a value, where it should lie within limits."""
    entries = values.entries[sheet]
    field = entries.sheet.field(key)
    assert field is not None
    value, low, high = (np.atleast_1d(each) for each in (values.get(sheet, key), low, high))
    at = [float(each[record if len(each) > 1 else 0]) for each in (value, low, high)]
    return meant.in_words(at[0], field.quantity, _label(entries, field), at[1], at[2])


def _label(entries: Entries, field: Field) -> str:
    """The unit that a field stands in on its sheet."""
    return entries.units.get(field.key) or field.unit.get("metric", "")


class _Shown(dict[str, str]):
    """The values of one record, each as a person reads it, made when a sentence asks for it."""

    def __init__(self, values: Values, sheet: str, record: int, more: Mapping[str, tuple[Any, str]]) -> None:
        super().__init__()
        self._values, self._sheet, self._record, self._more = values, sheet, record, more

    def __missing__(self, key: str) -> str:
        if key.startswith(SHEETS):
            return self._called(key.removeprefix(SHEETS).split("_"))
        array, like = self._more.get(key) or (self._values.get(self._sheet, key), key)
        flat = np.atleast_1d(array)
        value = flat[self._record] if len(flat) > 1 else flat[0]
        if isinstance(value, str):
            return units.one_line(value, LONGEST_TEXT)
        home, own = self._values.home(self._sheet, like)
        entries = self._values.entries.get(home)
        field = entries.sheet.field(own) if entries else None
        if entries is None or field is None:
            return f"{value:g}"
        label = _label(entries, field)
        told = units.show(float(value), field.quantity, label, decimals(field, label))
        return told.split(" ")[0] if field.format == A_DAY else told

    def _called(self, sheets: list[str]) -> str:
        """What the person calls those of some sheets that the workbook has; what we do where it has none."""
        entries = self._values.entries
        held = [entries[key].found.tab for key in sheets if key in entries]
        held = held or [layouts.every_sheet()[key].title for key in sheets]
        *others, last = [units.one_line(tab, LONGEST_TEXT) for tab in dict.fromkeys(held)]
        return f"{', '.join(others)} or {last}" if others else last


def decimals(field: Field, label: str) -> int:
    """The digits a field is shown with in a unit: its own where it is the layout's unit, else the unit's."""
    for system, usual in field.unit.items():
        if usual == label:
            return field.digits[system]
    return units.digits(field.quantity, label)


def _not_filled_in(entries: Entries) -> Iterator[Finding]:
    columns = [c for c in entries.sheet.columns if c.needed and c.key in entries.found.cells]
    columns = [c for c in columns if entries.units[c.key] or not c.units]
    unread = {(f.row, f.place) for f in entries.findings}
    for record in range(len(entries.rows)):
        blank = [c for c in columns if _is_blank(entries.values[c.key][record])]
        blank = [c for c in blank if entries.cell(c.key, record) not in unread]
        blank = [c for c in blank if not _is_weighed(entries, c.key, record)]
        if blank:
            names = " and ".join(entries.found.headings[c.key] for c in blank)
            verb = "are" if len(blank) > 1 else "is"
            yield Finding(
                "note",
                entries.found.tab,
                entries.found.headings[blank[0].key],
                *entries.cell(blank[0].key, record),
                "not_filled_in",
                f"{names} {verb} not filled in; what depends on it stays blank.",
                "Fill it in when you have it.",
            )


def _weighed(values: Values, entries: Entries) -> Iterator[Finding]:
    """The volume of what was weighed, since its cell does not show it."""
    for key, weights in entries.weights.items():
        field = entries.sheet.field(key)
        assert field is not None
        label = _label(entries, field)
        volumes = values.get(entries.sheet.key, key)
        for record in np.flatnonzero(np.isfinite(weights)):
            message = "A weight tells the volume only together with the strength."
            advice = "Fill in what the strength of this line needs, or type the volume."
            if np.isfinite(volumes[record]):
                litres = units.show(float(volumes[record]), "volume", label, decimals(field, label))
                message = f"By its weight it is {litres} at 20 °C."
                advice = "Weighed in air, as scales do; the strength of this line tells the density."
            yield Finding(
                "note",
                entries.found.tab,
                entries.found.headings[key],
                *entries.cell(key, int(record)),
                "read_by_weight",
                message,
                advice,
            )


def all_blank(values: Any) -> bool:
    """Whether values, one or many, numbers or texts, are all blank."""
    return all(_is_blank(value) for value in np.atleast_1d(values))


def _is_blank(value: Any) -> bool:
    return value == "" if isinstance(value, str) else bool(np.isnan(value))
