"""Where everything stands on a sheet of charts: one below the other, above each what it shows and a link."""

from collections.abc import Mapping

from sheetcalc.build import look, parts
from sheetcalc.build.grid import Area, Axis, Cell, Grid, Plot, Position, Trace
from sheetcalc.layouts import Chart, Field, Sheet, System

WIDTHS = (86, 14)  # printed in full size on A4 and Letter
ROWS, ROW_HEIGHT, GAP = 16, 14.0, 6.0  # of each chart, and below it; heights in points


def charts(grid: Grid, sheet: Sheet, system: System, tables: Mapping[str, tuple[Sheet, Grid]]) -> None:
    """Every chart of a sheet; `tables` are the workbook's sheets with their grids, by key."""
    grid.widths = dict(enumerate(WIDTHS, start=1))
    grid.pages = (1, 1)
    parts.head(grid, sheet)
    row = parts.FIRST_ROW
    for chart in sheet.charts:
        source, table = tables[chart.sheet]
        grid.cells[Position(row, 1)] = Cell(chart.intro, look.CHART_TEXT)
        grid.cells[Position(row, 2)] = Cell(f"{source.title} →", look.CHART_LINK, link=source.title)
        grid.heights[row] = look.height(chart.intro, WIDTHS[0], look.CHART_TEXT)
        area = Area(row + 1, 1, row + ROWS, len(WIDTHS))
        grid.plots.append(_plot(chart, area, source, table, system))
        row = area.last_row + 2
        grid.heights |= dict.fromkeys(range(area.row, row - 1), ROW_HEIGHT) | {row - 1: GAP}
        grid.fixed |= set(range(area.row, row))


def _plot(chart: Chart, area: Area, source: Sheet, table: Grid, system: System) -> Plot:
    first, last = table.ready
    if chart.records:
        last = first + chart.records - 1
    elif source.grows or chart.kind != "bar":
        # Points are drawn where there are records; bars stand for each row.
        last = table.spare_to
    columns = {column.key: column for column in source.columns}

    def block(key: str) -> Area:
        place = table.names[f"{source.key}_{key}"].column
        return Area(first, place, last, place)

    def heading(key: str) -> Area:
        place = table.names[f"{source.key}_{key}"]
        return Area(*place, *place)

    return Plot(
        kind=chart.kind,
        title=chart.title,
        area=area,
        width=sum(look.points(width) for width in WIDTHS),
        height=ROWS * ROW_HEIGHT,
        source=source.title,
        along=block(chart.x),
        traces=tuple(
            Trace(block(key), heading(key), look.stroke(chart.kind, place))
            for place, key in enumerate(chart.y)
        ),
        x=_axis(chart.x_title, columns[chart.x], system),
        y=_axis(chart.y_title, columns[chart.y[0]], system),
    )


def _axis(title: str, column: Field, system: System) -> Axis:
    unit = column.unit.get(system)
    return Axis(f"{title} ({unit})" if unit else title, _format(column, system))


def _format(column: Field, system: System) -> str:
    """Along an axis stand round numbers: days, and a digit less than in the column."""
    if column.quantity == "moment":
        return "yyyy-mm-dd"
    if column.quantity in ("text", "choice"):
        return "General"
    digits = max(column.digits[system] - 1, 0)
    return "0." + "0" * digits if digits else "0"
