"""What a register knows about a still, as starting values on the card of a new batch."""

import math
from collections.abc import Mapping
from pathlib import Path

from sheetcalc import files, layouts, units
from sheetcalc.compute import decimals
from sheetcalc.files import locate
from sheetcalc.findings import Finding, flag_text
from sheetcalc.layouts import Field, Sheet, System
from sheetcalc.registers import batches, register, summaries
from sheetcalc.registers.summaries import Setting

CHANGE_IT = "Yours to change."


def learned(like: Path, still: str) -> tuple[dict[str, Setting], System]:
    """What the batches of a register tell for the card of the next one, by the card's keys, and its units.

    still: the name of one of its stills; '' where there is only one. Raises files.BadWorkbook where `like` is
    no register, and ValueError where it has several stills, or none of that name.
    """
    opened = register.opened(like)
    lines = summaries.frame(line.values for line in opened.lines if line.file)
    known = summaries.stills(lines)
    if not known:
        raise ValueError(f"There is no batch in {like.name} yet; gather some first.")
    listed = ", ".join(f'"{name}" ({count})' for name, count in known.items())
    if not still and len(known) > 1:
        raise ValueError(f"{like.name} has several stills: {listed}. Choose one with --still NAME.")
    wanted = batches.plain(still) or batches.plain(next(iter(known)))
    name = next((name for name in known if batches.plain(name) == wanted), None)
    if name is None:
        raise ValueError(f"There is no still {units.short(still)} in {like.name}; it has {listed}.")
    columns = ((c, read.units.get(c.key, "")) for read in opened.read.values() for c in read.sheet.columns)
    return summaries.settings(lines, name), layouts.system_of(columns)


def enter(path: Path, settings: Mapping[str, Setting]) -> list[str]:
    """Type the settings into the batch card of a new workbook, each with a note; tells them in words.

    What is the card's own default stays blank. Raises files.BadWorkbook.
    """
    book, sheet = files.open_workbook(path), layouts.every_sheet()["batch"]
    place = locate.find(book, [sheet])["batch"]
    told = []
    for field in sheet.fields:
        setting = settings.get(field.key)
        if setting is None or _is_default(setting, field) or field.key not in place.cells:
            continue
        label = _label(book, place, field)
        book.write(place.tab, *place.cells[field.key], _typed(setting, field, label))
        _note(book, place, sheet, field, setting)
        told.append(f"{field.heading} {_shown(setting, field, label)} ({_source(setting)})")
    book.save()
    return told


def _is_default(setting: Setting, field: Field) -> bool:
    """Whether a setting is what a blank counts as; in another unit it is that but for the last digits."""
    if isinstance(setting.value, str) or not isinstance(field.default, float):
        return setting.value == field.default
    return math.isclose(setting.value, field.default, rel_tol=1e-3)


def _label(book: files.Workbook, place: locate.Found, field: Field) -> str:
    unit = book.cells(place.tab).get(place.units.get(field.key, (0, 0)))
    return str(unit.value) if unit else ""


def _typed(setting: Setting, field: Field, label: str) -> float | str:
    """The value as somebody would type it in this unit, to the digits that it is shown with and one more."""
    if isinstance(setting.value, str):
        return setting.value
    value = float(units.from_base(setting.value, field.quantity, label))
    return round(value, decimals(field, label) + 1)


def _shown(setting: Setting, field: Field, label: str) -> str:
    typed = _typed(setting, field, label)
    return units.short(typed) if isinstance(typed, str) else f"{typed:.6g} {label}".rstrip()


def _source(setting: Setting) -> str:
    return f"{setting.how}, {setting.batches} batch{'es' * (setting.batches > 1)}"


def _note(book: files.Workbook, place: locate.Found, sheet: Sheet, field: Field, setting: Setting) -> None:
    """A note in the line's flags, which marks the cell, too."""
    flags = next(f for f in sheet.fields if f.role == "flag")
    row, _ = place.cells[field.key]
    message = f"Proposed: {_source(setting)}."
    finding = Finding(
        "note", place.tab, field.heading, *place.cells[field.key], "proposed", message, CHANGE_IT
    )
    book.write(place.tab, row, place.cells[flags.key][1], flag_text([finding]))
