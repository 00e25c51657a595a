"""A plot as an Office Open XML chart."""

from typing import Literal

from openpyxl.chart import BarChart, ScatterChart
from openpyxl.chart._chart import ChartBase
from openpyxl.chart.axis import ChartLines, NumericAxis, TextAxis
from openpyxl.chart.data_source import AxDataSource, NumDataSource, NumRef, StrRef
from openpyxl.chart.layout import Layout
from openpyxl.chart.legend import Legend
from openpyxl.chart.marker import Marker
from openpyxl.chart.series import Series, SeriesLabel, XYSeries
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.chart.text import RichText, Text
from openpyxl.chart.title import Title
from openpyxl.drawing.line import LineProperties
from openpyxl.drawing.spreadsheet_drawing import AnchorMarker, TwoCellAnchor
from openpyxl.drawing.text import (
    CharacterProperties,
    Font,
    Paragraph,
    ParagraphProperties,
    RegularTextRun,
    RichTextProperties,
)

from sheetcalc.build import look
from sheetcalc.build.grid import Area, Axis, Plot, Trace
from sheetcalc.findings import address

_EMU = 12700  # a point
_QUARTER = -90 * 60_000  # of a turn, to the left


def chart(plot: Plot) -> ChartBase:
    """The chart, anchored to the cells it covers; it holds no values, so that programs take the cells'."""
    made = _bars(plot) if plot.kind == "bar" else _points(plot)
    made.title = _title(plot.title, look.CHART_TITLE)
    made.legend = _legend() if len(plot.traces) > 1 else None
    made.roundedCorners = False
    made.display_blanks = "gap"
    made.graphical_properties = GraphicalProperties(solidFill=look.WHITE, ln=_line(look.HAIRLINE, 0.75))
    _dress(made.x_axis, plot.x, "b")
    _dress(made.y_axis, plot.y, "l")
    made.y_axis.majorGridlines = ChartLines(spPr=GraphicalProperties(ln=_line(look.HAIRLINE, 0.5)))
    made.anchor = _anchor(plot.area)  # type: ignore[assignment]
    return made


def _points(plot: Plot) -> ScatterChart:
    made = ScatterChart(scatterStyle="lineMarker", varyColors=False)
    along = _reference(plot, plot.along)
    for place, trace in enumerate(plot.traces):
        series = XYSeries(
            idx=place,
            order=place,
            tx=_name(plot, trace),
            xVal=AxDataSource(numRef=NumRef(f=along)),
            yVal=NumDataSource(numRef=NumRef(f=_reference(plot, trace.values))),
            spPr=GraphicalProperties(ln=_drawn(trace.stroke)),
            marker=_marker(trace.stroke),
            smooth=False,
        )
        made.series.append(series)
    made.x_axis.majorGridlines = None
    return made


def _bars(plot: Plot) -> BarChart:
    made = BarChart(barDir="col", grouping="clustered", varyColors=False, gapWidth=60, overlap=0)
    along = _reference(plot, plot.along)
    for place, trace in enumerate(plot.traces):
        stroke = trace.stroke
        series = Series(
            idx=place,
            order=place,
            tx=_name(plot, trace),
            cat=AxDataSource(strRef=StrRef(f=along)),
            val=NumDataSource(numRef=NumRef(f=_reference(plot, trace.values))),
            spPr=GraphicalProperties(solidFill=stroke.fill, ln=_line(stroke.ink, 0.75)),
            invertIfNegative=False,
        )
        made.series.append(series)
    made.y_axis.scaling.min = 0  # a bar's length tells how much it is
    return made


def _name(plot: Plot, trace: Trace) -> SeriesLabel:
    return SeriesLabel(strRef=StrRef(f=_reference(plot, trace.heading)))


def _reference(plot: Plot, area: Area) -> str:
    first, last = (_fixed(*corner) for corner in ((area.row, area.column), (area.last_row, area.last_column)))
    return f"'{plot.source}'!{first}" + (f":{last}" if last != first else "")


def _fixed(row: int, column: int) -> str:
    return f"${address(1, column)[:-1]}${row}"


def _marker(stroke: look.Stroke) -> Marker:
    if not stroke.marker:
        return Marker(symbol="none")
    paint = GraphicalProperties(solidFill=stroke.ink, ln=_line(stroke.ink, 0.75))
    return Marker(symbol=stroke.marker, size=6, spPr=paint)


def _drawn(stroke: look.Stroke) -> LineProperties:
    if not stroke.line:
        return LineProperties(noFill=True)
    made = _line(stroke.ink, 1.5)
    made.prstDash = "dash" if stroke.dashed else "solid"
    return made


def _line(colour: str, width: float) -> LineProperties:
    return LineProperties(solidFill=colour, w=round(width * _EMU))


def _dress(axis: NumericAxis | TextAxis, plan: Axis, side: Literal["b", "l"]) -> None:
    axis.title = _title(plan.title, look.AXIS_TITLE, turned=side == "l")
    axis.axPos = side
    axis.number_format = plan.format
    axis.delete = False
    axis.majorTickMark, axis.minorTickMark, axis.tickLblPos = "out", "none", "low"
    axis.crosses = "min"
    axis.txPr = _letters(look.AXIS_LABEL)
    axis.graphicalProperties = GraphicalProperties(ln=_line(look.QUIET, 0.75))


def _legend() -> Legend:
    made = Legend()
    made.position, made.overlay = "t", False
    made.txPr = _letters(look.AXIS_LABEL)
    return made


def _title(text: str, style: look.Look, turned: bool = False) -> Title:
    letters = _character(style)
    paragraph = Paragraph(pPr=ParagraphProperties(defRPr=letters), r=[RegularTextRun(rPr=letters, t=text)])
    body = RichTextProperties(rot=_QUARTER, vert="horz") if turned else RichTextProperties()
    return Title(tx=Text(rich=RichText(bodyPr=body, p=[paragraph])), overlay=False, layout=Layout())


def _letters(style: look.Look) -> RichText:
    paragraph = Paragraph(pPr=ParagraphProperties(defRPr=_character(style)), endParaRPr=CharacterProperties())
    paragraph.r = []  # or openpyxl puts an empty text there
    return RichText(bodyPr=RichTextProperties(), p=[paragraph])


def _character(style: look.Look) -> CharacterProperties:
    return CharacterProperties(
        sz=round(style.size * 100), b=style.bold, solidFill=style.ink, latin=Font(typeface=look.FONT)
    )


def _anchor(area: Area) -> TwoCellAnchor:
    """Moves with its cells and keeps its size."""
    return TwoCellAnchor(
        editAs="oneCell",
        _from=AnchorMarker(col=area.column - 1, row=area.row - 1),
        to=AnchorMarker(col=area.last_column, row=area.last_row),
    )
