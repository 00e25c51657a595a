"""A plot as an OpenDocument chart: an object of its own inside the spreadsheet, in a frame on a cell."""

from typing import Any

from odf import chart, draw, style
from odf.opendocument import OpenDocument, OpenDocumentChart
from odf.text import P

from sheetcalc.build import look
from sheetcalc.build.grid import Area, Axis, Plot, Trace
from sheetcalc.build.ods_numbers import data_styles
from sheetcalc.findings import address

_CLASSES = {"line": "chart:scatter", "scatter": "chart:scatter", "bar": "chart:bar"}
_SYMBOLS = {"circle": "circle", "diamond": "diamond", "triangle": "arrow-up"}
_DASHES = "Dashes"


def frame(document: OpenDocument, plot: Plot, name: str, stylename: str) -> Any:
    """The frame that shows a plot, to be put into the first cell that it covers.

    The chart holds no values, so that programs take the cells'.
    """
    size = {"width": f"{plot.width:g}pt", "height": f"{plot.height:g}pt"}
    href = document.addObject(_Chart(plot, size).document)
    shown = draw.Object(href=href, type="simple", show="embed", actuate="onLoad")
    used = [plot.along, *(trace.values for trace in plot.traces), *(trace.heading for trace in plot.traces)]
    shown.setAttribute("notifyonupdateofranges", " ".join(_reference(plot, area) for area in used))
    made = draw.Frame(name=name, zindex="0", x="0pt", y="0pt", **size)
    made.setAttribute("stylename", stylename)
    made.addElement(shown)
    return made


class _Chart:
    """The document of one chart."""

    def __init__(self, plot: Plot, size: dict[str, str]) -> None:
        self.document = OpenDocumentChart()
        self._plot = plot
        self._count = 0
        self.document.fontfacedecls.addElement(style.FontFace(name=look.FONT, fontfamily=look.FONT))
        if plot.kind != "bar" and any(trace.stroke.dashed for trace in plot.traces):
            dashes = draw.StrokeDash(name=_DASHES, style="rect", dots1="1", dots1length="5pt", distance="3pt")
            self.document.styles.addElement(dashes)
        paper = self._style(_outlined(look.WHITE, look.HAIRLINE))
        # "..": the values are those of the document around this one.
        kind = {"class": _CLASSES[plot.kind]}
        whole = chart.Chart(href="..", type="simple", stylename=paper, **size, **kind)
        whole.addElement(self._title(plot.title, look.CHART_TITLE))
        if len(plot.traces) > 1:
            letters = self._style({"stroke": "none", "fill": "none"}, text=look.AXIS_LABEL)
            whole.addElement(chart.Legend(legendposition="top", stylename=letters))
        whole.addElement(self._area())
        self.document.chart.addElement(whole)

    def _area(self) -> Any:
        properties = {"treatemptycells": "leave-gap", "includehiddencells": "false"}
        area = chart.PlotArea(stylename=self._style(chart=properties))
        area.addElement(self._axis("x", self._plot.x))
        area.addElement(self._axis("y", self._plot.y))
        for trace in self._plot.traces:
            area.addElement(self._series(trace))
        area.addElement(chart.Wall(stylename=self._style({"stroke": "none", "fill": "none"})))
        return area

    def _axis(self, dimension: str, plan: Axis) -> Any:
        bars = self._plot.kind == "bar"
        properties = {
            "displaylabel": "true",
            "tickmarksmajorouter": "true",
            "tickmarksminorouter": "false",
            "axisposition": "start",
            "axislabelposition": "outside-start",
        }
        if bars and dimension == "y":
            # From nothing, since a bar's length tells how much it is.
            properties |= {"gapwidth": "60", "overlap": "0", "minimum": "0"}
        if bars and dimension == "x":
            properties |= {"linebreak": "true"}
        drawn = {"stroke": "solid", "strokewidth": "0.75pt", "strokecolor": f"#{look.QUIET}"}
        dress = self._style(drawn, chart=properties, text=look.AXIS_LABEL, code=plan.format)
        made = chart.Axis(dimension=dimension, name=f"primary-{dimension}", stylename=dress)
        turned = {"rotationangle": "90"} if dimension == "y" else {}
        made.addElement(self._title(plan.title, look.AXIS_TITLE, turned))
        if bars and dimension == "x":
            made.addElement(chart.Categories(cellrangeaddress=_reference(self._plot, self._plot.along)))
        if dimension == "y":
            lines = self._style(_stroke(look.HAIRLINE, 0.5))
            made.addElement(chart.Grid(stylename=lines, **{"class": "major"}))
        return made

    def _series(self, trace: Trace) -> Any:
        made = chart.Series(
            valuescellrangeaddress=_reference(self._plot, trace.values),
            labelcelladdress=_reference(self._plot, trace.heading),
            stylename=self._style(self._paint(trace.stroke), chart=_symbol(self._plot, trace.stroke)),
            **{"class": _CLASSES[self._plot.kind]},
        )
        if self._plot.kind != "bar":
            made.addElement(chart.Domain(cellrangeaddress=_reference(self._plot, self._plot.along)))
        return made

    def _paint(self, stroke: look.Stroke) -> dict[str, str]:
        if self._plot.kind == "bar":
            return _outlined(stroke.fill, stroke.ink)
        filled = {"fill": "solid", "fillcolor": f"#{stroke.ink}"}
        if not stroke.line:
            return filled | {"stroke": "none", "strokecolor": f"#{stroke.ink}"}
        dashes = {"stroke": "dash", "strokedash": _DASHES} if stroke.dashed else {}
        return filled | _stroke(stroke.ink, 1.5) | dashes

    def _title(self, text: str, letters: look.Look, properties: dict[str, str] | None = None) -> Any:
        made = chart.Title(stylename=self._style(chart=properties or {}, text=letters))
        made.addElement(P(text=text))
        return made

    def _style(
        self,
        graphic: dict[str, str] | None = None,
        chart: dict[str, str] | None = None,
        text: look.Look | None = None,
        code: str = "General",
    ) -> str:
        """The name of a new style."""
        self._count += 1
        made = style.Style(name=f"ch{self._count}", family="chart")
        if code != "General":
            for part in data_styles(f"N{self._count}", code):
                self.document.automaticstyles.addElement(part)
            made.setAttribute("datastylename", f"N{self._count}")
            chart = (chart or {}) | {"linkdatastyletosource": "false"}
        if chart:
            made.addElement(style.ChartProperties(**chart))
        if graphic:
            made.addElement(style.GraphicProperties(**graphic))
        if text:
            made.addElement(style.TextProperties(**_letters(text)))
        self.document.automaticstyles.addElement(made)
        return str(made.getAttribute("name"))


def _symbol(plot: Plot, stroke: look.Stroke) -> dict[str, str]:
    if plot.kind == "bar":
        return {}
    if not stroke.marker:
        return {"symboltype": "none"}
    named = {"symboltype": "named-symbol", "symbolname": _SYMBOLS[stroke.marker]}
    return named | {"symbolwidth": "6pt", "symbolheight": "6pt"}


def _outlined(fill: str, ink: str) -> dict[str, str]:
    return {"fill": "solid", "fillcolor": f"#{fill}"} | _stroke(ink, 0.75)


def _stroke(ink: str, width: float) -> dict[str, str]:
    return {"stroke": "solid", "strokewidth": f"{width:g}pt", "strokecolor": f"#{ink}"}


def _letters(letters: look.Look) -> dict[str, str]:
    weight = "bold" if letters.bold else "normal"
    return {
        "fontname": look.FONT,
        "fontfamily": look.FONT,
        "fontsize": f"{letters.size:g}pt",
        "fontweight": weight,
        "color": f"#{letters.ink}",
    }


def _reference(plot: Plot, area: Area) -> str:
    first, last = (
        f"'{plot.source}'.${address(1, column)[:-1]}${row}"
        for row, column in ((area.row, area.column), (area.last_row, area.last_column))
    )
    return first if first == last else f"{first}:{last}"
