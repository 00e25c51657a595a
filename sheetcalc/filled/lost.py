"""Sheets, columns and lines that are not in the workbook any more, and the results that need them."""

from collections.abc import Callable, Iterator, Mapping
from typing import Any

import numpy as np

from sheetcalc import layouts
from sheetcalc.compute import Values
from sheetcalc.entries import Entries
from sheetcalc.files.locate import Found
from sheetcalc.findings import Finding
from sheetcalc.layouts import Field, Sheet
from sheetcalc.stages import registry

Key = tuple[str, str]
Had = Callable[[str, str], bool]  # whether a workbook ever had a line or column, by sheet and key


def findings(values: Values, found: Mapping[str, Found], had: Had) -> Iterator[Finding]:
    """What results can't be computed, or are computed otherwise, for want of something that is gone.

    A line or column that the workbook never had is not gone; a sheet that it never had has to come from a
    new workbook.
    """
    for sheet in _sheets(found):
        if sheet.key not in found:
            keys = {(sheet.key, field.key) for field in (*sheet.fields, *sheet.columns)}
            yield from _missing(
                values,
                keys,
                "sheet_missing",
                f'There is no sheet "{sheet.title}" in this workbook',
                "Copy it back from an older copy of this file, or from a new workbook."
                if any(had(*key) for key in keys)
                else "Copy it from a new workbook; when this one was made, there was no such sheet.",
            )
        elif sheet.key in values.entries:
            yield from _missing_parts(values, values.entries[sheet.key], had)


def _sheets(found: Mapping[str, Found]) -> tuple[Sheet, ...]:
    """The sheets that a workbook like this has when it is new."""
    made = layouts.made_from(found.keys()).sheets
    return tuple(sheet for sheet in made if sheet.key != "findings" and (sheet.fields or sheet.columns))


def _missing_parts(values: Values, entries: Entries, had: Had) -> Iterator[Finding]:
    sheet, found = entries.sheet, entries.found
    for parts, what, kind in ((sheet.fields, "line", "card"), (sheet.columns, "column", "table")):
        known = [part for part in parts if had(sheet.key, part.key)]
        if known and all(part.key in found.missing for part in parts):
            yield Finding(
                *("warning", found.tab, "", 1, 1, "headings_missing"),
                f'None of the headings of the {kind} "{sheet.title}" are on this sheet, '
                "so nothing of it was read or filled.",
                "Undo what took them away, or copy their row back from a new workbook.",
            )
            continue
        for part in known:
            if part.key in found.missing and part.role == "entry":
                yield from _missing(
                    values,
                    {(sheet.key, part.key)},
                    f"{what}_missing",
                    f'There is no {what} "{part.heading}" on sheet "{found.tab}"',
                    f'Type "{part.heading}" before the line that holds it, or before a new one.'
                    if what == "line"
                    else f'Type "{part.heading}" over the column that holds it, or over a new one.',
                )


def _missing(values: Values, gone: set[Key], rule: str, message: str, advice: str) -> Iterator[Finding]:
    """One finding at the first result that needs what is gone: a warning where results stay blank."""
    homes = {sheet for sheet, _ in gone}
    needing = sorted(_needing(values, gone), key=lambda result: result[0].sheet.key not in homes)
    blank = [(entries, field) for entries, field in needing if _is_blank(values, entries, field)]
    if not needing:
        return
    entries, first = (blank or needing)[0]
    names = _listed(entries, blank or needing)
    verb = "stay" if len(blank) > 1 else "stays"
    yield Finding(
        "warning" if blank else "note",
        entries.found.tab,
        entries.found.headings[first.key],
        *entries.found.cells[first.key],
        rule,
        f"{message}, so {names} {verb} blank."
        if blank
        else f"{message}; {names} can't take it into account.",
        advice,
    )


def _listed(home: Entries, needing: list[tuple[Entries, Field]]) -> str:
    """The results' headings, the first three of them; with their sheet where it is another."""
    names = []
    for entries, field in needing:
        heading = f'"{entries.found.headings[field.key] or field.heading}"'
        names.append(heading if entries is home else f'{heading} on "{entries.found.tab}"')
    if len(names) > 4:
        names = [*names[:3], f"{len(names) - 3} more"]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _needing(values: Values, gone: set[Key]) -> Iterator[tuple[Entries, Field]]:
    """The results in the workbook that are computed from what is gone, at once or by steps without a cell."""
    for sheet, entries in values.entries.items():
        for field in (*entries.sheet.fields, *entries.sheet.columns):
            shown = field.role == "computed" and field.key in entries.found.cells
            if shown and gone & _needs(values, (sheet, field.key)):
                yield entries, field


def _needs(values: Values, result: Key) -> set[Key]:
    """What a result is computed from, through steps that stand in no cell."""
    needs: set[Key] = set()
    pending = [result]
    while pending:
        sheet, key = pending.pop()
        column = registry.COLUMNS.get(sheet, {}).get(key)
        for need in column.needs if column else ():
            home = values.home(sheet, need)
            if home not in needs:
                needs.add(home)
                entries = values.entries.get(home[0])
                if entries is None or home[1] not in entries.found.cells:
                    pending.append(home)
    return needs


def _is_blank(values: Values, entries: Entries, field: Field) -> bool:
    """Whether a result has records, or is a line of a card, and nothing in it."""
    flat: Any = np.atleast_1d(values.get(entries.sheet.key, field.key))
    if len(flat) == 0:
        return False
    return bool(np.all(flat == "") if flat.dtype == object else np.all(np.isnan(flat)))
