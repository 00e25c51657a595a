"""The computed columns in the order of their needs, and what the checks find."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from sheetcalc import layouts, units
from sheetcalc.entries import EARLIEST, LATEST, Entries
from sheetcalc.findings import Finding
from sheetcalc.layouts import Field
from sheetcalc.stages import registry

LONGEST_TEXT = 200  # of somebody's own words in a sentence
# Where a key is looked for when the sheet itself does not have it.
SHARED = ("batch", "instruments")


class Values:
    """Every value of a workbook by sheet and key: typed, or computed on first use."""

    def __init__(self, entries: Mapping[str, Entries]) -> None:
        self.entries = entries
        self._known: dict[tuple[str, str], Any] = {}

    def get(self, sheet: str, key: str) -> Any:
        """The values of a key, as a function of that sheet sees them; blank where nothing has it.

        Raises RecursionError where columns need each other in a circle.
        """
        home, own = self.home(sheet, key)
        if (home, own) not in self._known:
            self._known[home, own] = self._make(home, own)
        return self._known[home, own]

    def home(self, sheet: str, key: str) -> tuple[str, str]:
        """The sheet that holds a key, and its key there."""
        for place in (sheet, *SHARED):
            if self._has(place, key):
                return place, key
        for place in sorted(registry.COLUMNS.keys() | self.entries.keys()):
            rest = key.removeprefix(f"{place}_")
            if rest != key:
                return place, rest
        return sheet, key

    def _has(self, sheet: str, key: str) -> bool:
        """Whether the sheet has the key, or would have it if it were in the workbook."""
        if key in registry.COLUMNS.get(sheet, {}):
            return True
        if sheet in self.entries:
            return key in self.entries[sheet].values
        look = layouts.every_sheet().get(sheet)
        return look is not None and look.field(key) is not None

    def _make(self, sheet: str, key: str) -> Any:
        column = registry.COLUMNS.get(sheet, {}).get(key)
        entries = self.entries.get(sheet)
        if column:
            made = column.function(*(self.get(sheet, need) for need in column.needs))
            field = entries.sheet.field(key) if entries else None
            return _of_our_times(made) if field and field.quantity == "moment" else made
        if entries and key in entries.values:
            return entries.values[key]
        look = entries.sheet if entries else layouts.every_sheet().get(sheet)
        if sheet == "batch" or (look and any(field.key == key for field in look.fields)):
            return np.array(np.nan)
        return np.full(len(entries.rows) if entries else 0, np.nan)


def _of_our_times(moments: Any) -> Any:
    """Computed moments; blank where absurd entries would put them out of every calendar."""
    return np.where((moments >= EARLIEST) & (moments <= LATEST), moments, np.nan)


def findings(values: Values) -> Iterator[Finding]:
    """What could not be read, what is not filled in, and what the checks find, sheet by sheet."""
    for sheet, entries in values.entries.items():
        found = [f for check in registry.CHECKS.get(sheet, []) for f in _checked(values, sheet, check)]
        explained = {(f.row, f.place) for f in found if f.level != "note"}
        for finding in entries.findings:
            if finding.rule != "outside_limits" or (finding.row, finding.place) not in explained:
                yield finding
        yield from _not_filled_in(entries)
        yield from found


def _checked(values: Values, sheet: str, check: registry.Check) -> Iterator[Finding]:
    entries = values.entries[sheet]
    if check.cell not in entries.found.cells:
        return
    result = check.function(*(values.get(sheet, need) for need in check.needs))
    wrong, more = result if isinstance(result, tuple) else (result, {})
    for record in np.flatnonzero(np.atleast_1d(wrong)):
        shown = _Shown(values, sheet, int(record), more)
        yield Finding(
            check.level,
            entries.found.tab,
            entries.found.headings[check.cell],
            *entries.cell(check.cell, int(record)),
            check.rule,
            check.says.format_map(shown).strip(),
            check.advice.format_map(shown),
        )


class _Shown(dict[str, str]):
    """The values of one record, each as a person reads it, made when a sentence asks for it."""

    def __init__(self, values: Values, sheet: str, record: int, more: Mapping[str, tuple[Any, str]]) -> None:
        super().__init__()
        self._values, self._sheet, self._record, self._more = values, sheet, record, more

    def __missing__(self, key: str) -> str:
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
        label = entries.units.get(own) or field.unit.get("metric", "")
        return units.show(float(value), field.quantity, label, decimals(field, label))


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


def _is_blank(value: Any) -> bool:
    return value == "" if isinstance(value, str) else bool(np.isnan(value))
