"""The axes of the charts name the units that the workbook stands in now."""

from sheetcalc import compute, files, layouts, units
from sheetcalc.filled import edits


def leave(book: files.Workbook, values: compute.Values) -> None:
    """Have the axes name the unit that their column stands in, where it is another than at the last fill.

    An axis that a person has given a title of their own keeps it.
    """
    titles: dict[str, str] = {}
    for sheet in layouts.every_sheet().values():
        for chart in sheet.charts:
            read = values.entries.get(chart.sheet)
            for title, key in ((chart.x_title, chart.x), (chart.y_title, chart.y[0])):
                field = read.sheet.field(key) if read else None
                if read and field and field.units and (now := read.units.get(key)):
                    was = edits.units_were(book, read).get(key, "")
                    if units.label_of(was, field.quantity) != now:
                        titles |= {f"{title} ({unit})": f"{title} ({now})" for unit in field.units}
    if titles:
        book.retitle(titles)
