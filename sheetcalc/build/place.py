"""From the sheets of a layout to grids: what both file formats write."""

import re
from collections.abc import Mapping

from sheetcalc.build import as_filled, card, charts, formats, look, parts, stale, table
from sheetcalc.build.grid import Grid
from sheetcalc.build.page import page
from sheetcalc.build.paper import PAPERS
from sheetcalc.layouts import Layout, LayoutError, Needs, Sheet, System

_UNFIT = re.compile(r"[\[\]:*?/\\']")


def grids(layout: Layout, needs: Mapping[tuple[str, str], Needs], system: System) -> list[Grid]:
    """Every sheet of a workbook in order; `needs` tells by sheet and key what each result comes from.

    Raises LayoutError for what no spreadsheet can hold.
    """
    _check_titles(layout)
    _check_fields(layout, system)
    titles = {sheet.key: sheet.title for sheet in layout.sheets}
    made = [_grid(sheet, system, titles) for sheet in layout.sheets]
    tables = {sheet.key: (sheet, grid) for sheet, grid in zip(layout.sheets, made, strict=True)}
    for sheet, grid in tables.values():
        if sheet.charts:
            charts.charts(grid, sheet, system, tables)
    return [*made, stale.add(made, layout, needs)]


def _check_titles(layout: Layout) -> None:
    taken: dict[str, str] = {as_filled.TITLE.casefold(): as_filled.KEY}
    for sheet in layout.sheets:
        where = f"{sheet.key}.toml, title {sheet.title!r}"
        if not sheet.title or len(sheet.title) > 31 or _UNFIT.search(sheet.title):
            raise LayoutError(f"{where}: a title has 1 to 31 characters and none of []:*?/\\'.")
        if sheet.title.casefold() in taken:
            raise LayoutError(f"{where}: {taken[sheet.title.casefold()]}.toml has the same title.")
        taken[sheet.title.casefold()] = sheet.key


def _check_fields(layout: Layout, system: System) -> None:
    taken: dict[str, str] = {}
    for sheet in layout.sheets:
        for field in (*sheet.fields, *sheet.columns):
            where = f"{sheet.key}.toml, key {field.key!r}"
            name = f"{sheet.key}_{field.key}"
            if name in taken:
                raise LayoutError(f"{where}: its name {name} is taken by {taken[name]}.")
            taken[name] = where
            code = field.number_format(system)
            if code != "General" and not (formats.numbers(code) or formats.moment(code)):
                raise LayoutError(f"{where}: the format {code!r} is not one of those that can be written.")


def _grid(sheet: Sheet, system: System, titles: dict[str, str]) -> Grid:
    if sheet.lines:
        return page(sheet, titles, PAPERS[system])
    grid = Grid(
        sheet.key,
        sheet.title,
        PAPERS[system],
        sheet.landscape,
        gridlines=bool(sheet.columns),
        tab=_tab(sheet),
    )
    if sheet.charts:
        return grid
    grid.widths = table.widths(sheet) if sheet.columns else card.widths(sheet)
    grid.pages = (table.pages(sheet), 0)
    parts.head(grid, sheet)
    row = parts.FIRST_ROW
    if sheet.fields:
        row = card.card(grid, sheet, system, row)
    if sheet.columns:
        table.table(grid, sheet, system, row + 1 if sheet.fields else row)
    return grid


def _tab(sheet: Sheet) -> str:
    entries = any(field.role == "entry" for field in (*sheet.fields, *sheet.columns))
    return look.CREAM_DEEP if entries else look.SLATE_DEEP
