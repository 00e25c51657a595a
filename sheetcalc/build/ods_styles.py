"""Looks, marks and pages as OpenDocument styles, each written once."""

from typing import Any

from odf import style
from odf.namespaces import STYLENS, TABLENS
from odf.opendocument import OpenDocument
from odf.text import FileName, P, PageCount, PageNumber, SheetName

from sheetcalc.build import look
from sheetcalc.build.grid import Marking
from sheetcalc.build.ods_numbers import data_styles
from sheetcalc.build.paper import FOOT, MARGIN, Paper

_BAR, _INDENT, _EDGE = 2.5, 6.0, 2.0  # points
_FOOTER = 0.7  # cm


class Styles:
    """The styles of one document; a style that was asked for once is handed out again."""

    def __init__(self, document: OpenDocument) -> None:
        self._document = document
        self._kept: dict[Any, str] = {}
        _default(document)
        _marks(document)

    def cell(self, appearance: look.Look, code: str, title: str, marking: Marking | None) -> str:
        """The name of the style for a look, a number format and the marks laid over it."""
        key = (appearance, code, marking and (title, marking))
        if key not in self._kept:
            made = style.Style(name=f"ce{len(self._kept)}", family="table-cell", parentstylename="Default")
            if code != "General":
                made.setAttribute("datastylename", self._number(code))
            _appearance(made, appearance)
            if marking:
                _maps(made, title, marking)
            self._document.automaticstyles.addElement(made)
            self._kept[key] = made.getAttribute("name")
        return self._kept[key]

    def column(self, width: float) -> str:
        """The name of the style for a column of this width, in characters."""
        key = ("column", width)
        if key not in self._kept:
            made = style.Style(name=f"co{len(self._kept)}", family="table-column")
            made.addElement(style.TableColumnProperties(columnwidth=f"{look.points(width):.2f}pt"))
            self._document.automaticstyles.addElement(made)
            self._kept[key] = made.getAttribute("name")
        return self._kept[key]

    def row(self, height: float, fixed: bool) -> str:
        """The name of the style for a row: of this height in points, or one that grows with its text."""
        key = ("row", height, fixed)
        if key not in self._kept:
            made = style.Style(name=f"ro{len(self._kept)}", family="table-row")
            grows = "false" if fixed else "true"
            made.addElement(style.TableRowProperties(rowheight=f"{height:g}pt", useoptimalrowheight=grows))
            self._document.automaticstyles.addElement(made)
            self._kept[key] = made.getAttribute("name")
        return self._kept[key]

    def table(self, paper: Paper, landscape: bool, pages: tuple[int, int], tab: str, visible: bool) -> str:
        """The name of the style for a sheet printed this way, with this colour on its tab."""
        key = ("table", landscape, pages, tab, visible)
        if key not in self._kept:
            master = _master(landscape, pages)
            if ("page", master) not in self._kept:
                _page(self._document, paper, landscape, pages)
                self._kept["page", master] = master
            made = style.Style(name=f"ta{len(self._kept)}", family="table", masterpagename=master)
            properties = style.TableProperties(display=str(visible).lower(), writingmode="lr-tb")
            properties.setAttrNS(TABLENS, "tab-color", f"#{tab}")
            made.addElement(properties)
            self._document.automaticstyles.addElement(made)
            self._kept[key] = made.getAttribute("name")
        return self._kept[key]

    def frame(self) -> str:
        """The name of the style for a frame that adds nothing to what it shows."""
        if "frame" not in self._kept:
            made = style.Style(name="gr0", family="graphic")
            made.addElement(style.GraphicProperties(stroke="none", fill="none"))
            self._document.automaticstyles.addElement(made)
            self._kept["frame"] = made.getAttribute("name")
        return self._kept["frame"]

    def _number(self, code: str) -> str:
        key = ("number", code)
        if key not in self._kept:
            name = f"N{100 + len(self._kept)}"
            for part in data_styles(name, code):
                # Among the automatic styles odfpy would drop those that only a condition refers to.
                self._document.styles.addElement(part)
            self._kept[key] = name
        return self._kept[key]


def _default(document: OpenDocument) -> None:
    document.fontfacedecls.addElement(style.FontFace(name=look.FONT, fontfamily=look.FONT))
    # The font stands here and not in "Default", or a mark would lay the size over a cell's own.
    made = style.DefaultStyle(family="table-cell")
    made.addElement(style.TextProperties(fontname=look.FONT, fontsize="10pt"))
    document.styles.addElement(made)
    document.styles.addElement(style.Style(name="Default", family="table-cell"))


def _appearance(made: Any, appearance: look.Look) -> None:
    cell: dict[str, str] = {"verticalalign": {"center": "middle"}.get(appearance.stand, appearance.stand)}
    cell["wrapoption"] = "wrap" if appearance.wrap else "no-wrap"
    cell["textalignsource"] = "fix"
    cell |= {"paddingtop": f"{appearance.room:g}pt", "paddingbottom": f"{appearance.room:g}pt"}
    # On the right a margin of the paragraph is not always heeded, room of the cell is.
    right = _EDGE + _INDENT if appearance.indent and appearance.align == "right" else _EDGE
    cell |= {"paddingleft": f"{_EDGE:g}pt", "paddingright": f"{right:g}pt"}
    if appearance.fill:
        cell["backgroundcolor"] = f"#{appearance.fill}"
    if appearance.frame:
        cell["border"] = _line(appearance.frame)
    if appearance.below:
        cell["borderbottom"] = _line(appearance.below)
    if appearance.bar:
        cell["borderleft"] = _line(appearance.bar, _BAR)
    made.addElement(style.TableCellProperties(**cell))
    paragraph = {"textalign": {"left": "start", "right": "end"}[appearance.align]}
    if appearance.indent and appearance.align == "left":
        paragraph["marginleft"] = f"{_INDENT:g}pt"
    made.addElement(style.ParagraphProperties(**paragraph))
    made.addElement(style.TextProperties(**_letters(appearance)))


def _letters(appearance: look.Look) -> dict[str, str]:
    letters = {"fontname": look.FONT, "fontsize": f"{appearance.size:g}pt", "color": f"#{appearance.ink}"}
    if appearance.bold:
        letters["fontweight"] = "bold"
    if appearance.italic:
        letters["fontstyle"] = "italic"
    if appearance.underline:
        letters |= {"textunderlinestyle": "solid", "textunderlinewidth": "auto"}
    return letters


def _line(colour: str, width: float = 0.75) -> str:
    return f"{width:g}pt solid #{colour}"


def _marks(document: OpenDocument) -> None:
    """The styles that conditional formats lay over a cell."""
    for mark in look.MARKS:
        made = style.Style(name=mark.name, family="table-cell", parentstylename="Default")
        cell = {"backgroundcolor": f"#{mark.fill}"} if mark.fill else {}
        made.addElement(style.TableCellProperties(**cell))
        if mark.ink:
            made.addElement(
                style.TextProperties(
                    color=f"#{mark.ink}",
                    fontweight="bold" if mark.bold else "normal",
                    fontstyle="italic" if mark.italic else "normal",
                )
            )
        document.styles.addElement(made)


def _maps(made: Any, title: str, marking: Marking) -> None:
    base = f"'{title}'.{marking.area.name.split(':')[0]}"
    for condition, mark in marking.conditions:
        made.addElement(
            style.Map(
                condition=f"is-true-formula({condition})", applystylename=mark.name, basecelladdress=base
            )
        )


def _master(landscape: bool, pages: tuple[int, int]) -> str:
    wide, high = pages
    return ("Landscape" if landscape else "Portrait") + f"{wide or ''}x{high or ''}"


def _page(document: OpenDocument, paper: Paper, landscape: bool, pages: tuple[int, int]) -> None:
    """So many pages wide and high, with the sheet's name, the file's and the page number in the footer."""
    layout = style.PageLayout(name=f"pm{_master(landscape, pages)}")
    width, height = (paper.long, paper.short) if landscape else (paper.short, paper.long)
    properties = style.PageLayoutProperties(
        pagewidth=f"{width:g}cm",
        pageheight=f"{height:g}cm",
        printorientation="landscape" if landscape else "portrait",
        printpageorder="ltr",
        margintop=f"{MARGIN:g}cm",
        marginbottom=f"{FOOT - _FOOTER:g}cm",
        marginleft=f"{MARGIN:g}cm",
        marginright=f"{MARGIN:g}cm",
        firstpagenumber="continue",
    )
    for way, count in zip("XY", pages, strict=True):
        properties.setAttrNS(STYLENS, f"scale-to-{way}", str(count))
    layout.addElement(properties)
    layout.addElement(_footer_room())
    document.automaticstyles.addElement(layout)
    master = style.MasterPage(name=_master(landscape, pages), pagelayoutname=layout)
    master.addElement(_no_header())
    master.addElement(_footer())
    document.masterstyles.addElement(master)


def _footer_room() -> Any:
    room = style.FooterStyle()
    room.addElement(
        style.HeaderFooterProperties(
            minheight=f"{_FOOTER:g}cm", margintop="0.2cm", marginleft="0cm", marginright="0cm"
        )
    )
    return room


def _no_header() -> Any:
    header = style.Header()
    header.setAttribute("display", "false")
    return header


def _footer() -> Any:
    footer = style.Footer()
    left, middle, right = style.RegionLeft(), style.RegionCenter(), style.RegionRight()
    name, file, pages = P(), P(), P()
    name.addElement(SheetName(text="?"))
    file.addElement(FileName(text="?", display="name-and-extension"))
    pages.addElement(PageNumber(text="1"))
    pages.addText(" / ")
    pages.addElement(PageCount(text="1"))
    left.addElement(name)
    right.addElement(pages)
    middle.addElement(file)
    footer.addElement(left)
    footer.addElement(middle)
    footer.addElement(right)
    return footer
