"""Charts: what they refer to in both formats, how they look in grey, what LibreOffice draws of them."""

import re
import shutil
import zipfile
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any, NamedTuple, get_args

import pytest
from logs import clean_log, typed
from lxml import etree
from openpyxl import load_workbook
from openpyxl.utils import get_column_letter

from sheetcalc import build, compute, layouts
from sheetcalc.build import look
from sheetcalc.files import open_workbook
from sheetcalc.filling import fill

Blank = Callable[..., Path]
Change = Callable[..., layouts.Layout]
Convert = Callable[..., None]
ENDINGS = (".xlsx", ".ods")
BOTH = pytest.mark.parametrize("ending", ENDINGS)

# One of each kind beside those of the batch workbook, with a gap in the table that they are drawn from.
MORE = """
[[charts]]
title = "Strength"
kind = "scatter"
intro = "Points and a line."
sheet = "runs"
x = "collected_volume"
y = ["collected_strength", "expected_strength"]
x_title = "Collected"
y_title = "Strength"

[[charts]]
title = "Alcohol"
kind = "bar"
intro = "Bars."
sheet = "runs"
x = "run"
y = ["charge_alcohol", "collected_alcohol"]
x_title = "Run"
y_title = "Pure alcohol"
records = 3

[[charts]]
"""
_NAMES = {
    "c": "http://schemas.openxmlformats.org/drawingml/2006/chart",
    "a": "http://schemas.openxmlformats.org/drawingml/2006/main",
    "chart": "urn:oasis:names:tc:opendocument:xmlns:chart:1.0",
    "draw": "urn:oasis:names:tc:opendocument:xmlns:drawing:1.0",
    "style": "urn:oasis:names:tc:opendocument:xmlns:style:1.0",
    "svg": "urn:oasis:names:tc:opendocument:xmlns:svg-compatible:1.0",
    "table": "urn:oasis:names:tc:opendocument:xmlns:table:1.0",
    "text": "urn:oasis:names:tc:opendocument:xmlns:text:1.0",
    "xlink": "http://www.w3.org/1999/xlink",
}


class Drawn(NamedTuple):
    """A chart as a file holds it; what it refers to as TAB!A6:A2005."""

    title: str
    kind: str
    along: str
    values: list[str]
    names: list[str]
    axes: list[str]


def charts(path: Path) -> list[Drawn]:
    """The charts of a workbook in order."""
    return [(_excel if path.suffix == ".xlsx" else _open_document)(part) for _, part in parts(path)]


def parts(path: Path) -> Iterator[tuple[str, etree._Element]]:
    """The parts of a workbook that hold a chart each, by their names in order."""
    pattern = r"xl/charts/chart\d+\.xml" if path.suffix == ".xlsx" else r"Object \d+/content\.xml"
    with zipfile.ZipFile(path) as package:
        for name in sorted(package.namelist()):
            if re.fullmatch(pattern, name):
                yield name, etree.fromstring(package.read(name))


def _texts(node: etree._Element, path: str) -> list[str]:
    found = node.xpath(path, namespaces=_NAMES)
    nodes: list[Any] = list(found) if isinstance(found, list) else [found]
    return [str(each.text if isinstance(each, etree._Element) else each) for each in nodes]


def _excel(part: etree._Element) -> Drawn:
    kinds = ("scatter", "bar")
    kind = next(kind for kind in kinds if part.find(f".//{{*}}{kind}Chart") is not None)
    plain = [re.sub(r"['$]", "", text) for text in _texts(part, "//c:ser//c:f")]
    assert len(plain) % 3 == 0
    return Drawn(
        "".join(_texts(part, "/c:chartSpace/c:chart/c:title//a:t")),
        kind,
        plain[1],
        plain[2::3],
        plain[::3],
        ["".join(_texts(part, f"//c:plotArea/c:*[c:axId][{n}]/c:title//a:t")) for n in (2, 3)],
    )


def _open_document(part: etree._Element) -> Drawn:
    def plain(path: str) -> list[str]:
        return [re.sub(r":'[^']*'\.", ":", text).replace("$", "") for text in _texts(part, path)]

    def tabbed(path: str) -> list[str]:
        return [re.sub(r"^'([^']*)'\.", r"\1!", text) for text in plain(path)]

    along = "(//chart:domain | //chart:categories)/@table:cell-range-address"
    return Drawn(
        "".join(_texts(part, "//chart:chart/chart:title/text:p")),
        _texts(part, "//chart:chart/@chart:class")[0].removeprefix("chart:"),
        tabbed(along)[0],
        tabbed("//chart:series/@chart:values-cell-range-address"),
        tabbed("//chart:series/@chart:label-cell-address"),
        _texts(part, "//chart:axis/chart:title/text:p"),
    )


@pytest.fixture
def more(changed: Change) -> layouts.Layout:
    """The batch layout with a chart of each kind."""
    return changed("charts", "[[charts]]\n", MORE.lstrip())


def built(layout: layouts.Layout, path: Path, system: layouts.System = "metric") -> Path:
    """A new workbook of a layout."""
    build.new_workbook(layout, compute.needs(layout), system, path)
    return path


@BOTH
def test_the_curve_of_the_fermentation(blank: Blank, ending: str) -> None:
    """Headings stand in row 4, units in row 5, rows for records down to 2005."""
    curve = next(c for c in charts(blank("batch", "metric", ending)) if c.along.startswith("Fermentation"))
    assert curve == Drawn(
        "Gravity of the wash",
        "scatter",
        "Fermentation!A6:A2005",
        ["Fermentation!F6:F2005"],
        ["Fermentation!F4"],
        ["Date", "Gravity at 20 °C (SG)"],
    )


@BOTH
@pytest.mark.parametrize("system", get_args(layouts.System))
def test_every_chart_covers_the_rows_under_its_headings(
    blank: Blank, system: layouts.System, ending: str
) -> None:
    path = blank("batch", system, ending)
    workbook = open_workbook(path)
    sheets = {sheet.key: sheet for sheet in layouts.load("batch").sheets}
    planned = [chart for sheet in sheets.values() for chart in sheet.charts]
    assert planned
    for chart, drawn in zip(planned, charts(path), strict=True):
        source = sheets[chart.sheet]
        measured = any(column.units for column in source.columns)
        count = chart.records or (source.ready if chart.kind == "bar" else 2000)
        below = {}
        for column in source.columns:
            tab, row, place = workbook.names[f"{source.key}_{column.key}"]
            letter, first = get_column_letter(place), row + 1 + measured
            below[column.key] = f"{tab}!{letter}{first}:{letter}{first + count - 1}"
        assert (drawn.title, drawn.along) == (chart.title, below[chart.x])
        assert drawn.values == [below[key] for key in chart.y]
        titles = ((chart.x, chart.x_title), (chart.y[0], chart.y_title))
        for (key, title), axis in zip(titles, drawn.axes, strict=True):
            field = source.field(key)
            unit = field.unit.get(system) if field else None
            assert axis == (f"{title} ({unit})" if unit else title)


@BOTH
@pytest.mark.parametrize(
    ("system", "volume", "strength"), [("metric", "mL", "% vol"), ("us", "fl oz", "proof")]
)
def test_each_kind_of_chart(
    more: layouts.Layout, tmp_path: Path, ending: str, system: layouts.System, volume: str, strength: str
) -> None:
    points, bars, *_ = charts(built(more, tmp_path / f"more{ending}", system))
    assert points == Drawn(
        "Strength",
        "scatter",
        "Runs!H6:H2005",
        ["Runs!L6:L2005", "Runs!S6:S2005"],
        ["Runs!L4", "Runs!S4"],
        [f"Collected ({volume})", f"Strength ({strength})"],
    )
    assert bars == Drawn(
        "Alcohol",
        "bar",
        "Runs!A6:A8",
        ["Runs!K6:K8", "Runs!N6:N8"],
        ["Runs!K4", "Runs!N4"],
        ["Run", f"Pure alcohol ({volume})"],
    )


def test_points_and_lines_differ_not_only_by_colour_in_xlsx(more: layouts.Layout, tmp_path: Path) -> None:
    points, bars, curve, *_ = (part for _, part in parts(built(more, tmp_path / "more.xlsx")))
    measured, expected = points.iterfind(".//{*}ser")
    assert _texts(measured, "c:marker/c:symbol/@val") == ["circle"]
    assert measured.find("{*}spPr/{*}ln/{*}noFill") is not None
    assert _texts(expected, "c:marker/c:symbol/@val") == ["none"]
    assert _texts(expected, "c:spPr/a:ln/a:prstDash/@val") == ["dash"]
    fills = _texts(bars, "//c:ser/c:spPr/a:solidFill/a:srgbClr/@val")
    assert abs(grey(fills[0]) - grey(fills[1])) > 100
    assert _texts(curve, "//c:valAx/c:numFmt/@formatCode") == ["yyyy-mm-dd", "0.000"]
    assert {*_texts(curve, "//c:dispBlanksAs/@val")} == {"gap"}
    assert not curve.findall(".//{*}legend") and points.findall(".//{*}legend")


def test_points_and_lines_differ_not_only_by_colour_in_ods(more: layouts.Layout, tmp_path: Path) -> None:
    points, bars, curve, *_ = (part for _, part in parts(built(more, tmp_path / "more.ods")))

    def styled(part: etree._Element, element: str, attribute: str) -> list[str]:
        names = _texts(part, f"//chart:{element}/@chart:style-name")
        return ["".join(_texts(part, f"//style:style[@style:name='{n}']//@{attribute}")) for n in names]

    assert styled(points, "series", "chart:symbol-name") == ["circle", ""]
    assert styled(points, "series", "draw:stroke") == ["none", "dash"]
    fills = styled(bars, "series", "draw:fill-color")
    assert abs(grey(fills[0].lstrip("#")) - grey(fills[1].lstrip("#"))) > 100
    days, gravities = styled(curve, "axis", "style:data-style-name")
    for n, piece in enumerate(("year", "text", "month", "text", "day"), start=1):
        assert _texts(curve, f"local-name(//*[@style:name='{days}']/*[{n}])") == [piece]
    number = f"//*[@style:name='{gravities}']/*/@*[local-name()='decimal-places']"
    assert _texts(curve, number) == ["3"]
    assert styled(curve, "plot-area", "chart:treat-empty-cells") == ["leave-gap"]
    assert not _texts(curve, "//chart:legend") and _texts(points, "//chart:legend")


def grey(colour: str) -> float:
    """How light a colour RRGGBB is in grey print, from 0 to 255 (ITU-R BT.601)."""
    red, green, blue = (int(colour[at : at + 2], 16) for at in (0, 2, 4))
    return 0.299 * red + 0.587 * green + 0.114 * blue


def test_colours_are_apart_in_grey_print() -> None:
    lightness = sorted(grey(stroke.fill) for stroke in look.STROKES)
    assert all(lighter - darker > 10 for darker, lighter in pairwise(lightness))
    assert len({(stroke.marker, stroke.dashed) for stroke in look.STROKES}) == layouts.MOST_DRAWN


@BOTH
def test_the_sheet_tells_what_it_shows_and_leads_to_the_data(blank: Blank, ending: str) -> None:
    workbook = open_workbook(blank("batch", "metric", ending))
    (sheet,) = (sheet for sheet in layouts.load("batch").sheets if sheet.charts)
    titles = {each.key: each.title for each in layouts.load("batch").sheets}
    texts = [cell.value for cell in workbook.cells(sheet.title).values()]
    for chart in sheet.charts:
        assert chart.intro in texts
        assert f"{titles[chart.sheet]} →" in texts


def test_the_links_lead_to_their_sheets(blank: Blank) -> None:
    sheet = load_workbook(blank("batch", "metric", ".xlsx"))["Charts"]
    assert sheet["B3"].hyperlink.location == "'Fermentation'!A1"
    with zipfile.ZipFile(blank("batch", "metric", ".ods")) as package:
        content = etree.fromstring(package.read("content.xml"))
    links = _texts(content, "//table:table[@table:name='Charts']//text:a/@xlink:href")
    assert links[0] == "#'Fermentation'.A1"


def test_all_of_it_is_printed_on_one_page(blank: Blank) -> None:
    sheet = load_workbook(blank("batch", "metric", ".xlsx"))["Charts"]
    assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (1, 1)
    with zipfile.ZipFile(blank("batch", "metric", ".ods")) as package:
        content, styles = (etree.fromstring(package.read(f"{name}.xml")) for name in ("content", "styles"))
    (named,) = _texts(content, "//table:table[@table:name='Charts']/@table:style-name")
    (master,) = _texts(content, f"//style:style[@style:name='{named}']/@style:master-page-name")
    (page,) = _texts(styles, f"//style:master-page[@style:name='{master}']/@style:page-layout-name")
    scale = f"//style:page-layout[@style:name='{page}']/*/@style:scale-to-Y"
    assert _texts(styles, scale) == ["1"]


def test_charts_cover_cells_of_their_own_one_below_the_other(more: layouts.Layout, tmp_path: Path) -> None:
    sheet: Any = load_workbook(built(more, tmp_path / "more.xlsx"))["Charts"]
    spans = [(chart.anchor._from.row + 1, chart.anchor.to.row) for chart in sheet._charts]
    written = {cell.row for row in sheet.iter_rows() for cell in row if cell.value}
    assert all(above[1] < below[0] for above, below in pairwise(spans))
    assert not [row for first, last in spans for row in range(first, last + 1) if row in written]


def test_frames_in_ods_stand_on_cells_and_name_no_place_outside(blank: Blank) -> None:
    path = blank("batch", "metric", ".ods")
    with zipfile.ZipFile(path) as package:
        names = package.namelist()
        content = etree.fromstring(package.read("content.xml"))
        objects = [package.read(name).decode() for name in names if name.startswith("Object ")]
        manifest = etree.fromstring(package.read("META-INF/manifest.xml"))
    frames = "//table:table[@table:name='Charts']//table:table-cell/draw:frame"
    hrefs = _texts(content, f"{frames}/draw:object/@xlink:href")
    count = sum(len(sheet.charts) for sheet in layouts.load("batch").sheets)
    assert hrefs == [f"./Object {n}" for n in range(1, count + 1)]
    listed = set(_texts(manifest, "//@*[local-name()='full-path']"))
    for href in hrefs:
        folder = href.removeprefix("./")
        assert {f"{folder}/", f"{folder}/content.xml", f"{folder}/styles.xml"} <= listed
        assert f"{folder}/content.xml" in names
    for text in objects:
        assert set(re.findall(r'href="([^"]*)"', text)) <= {".."}
        assert not re.search(r"=[\"'](?:/|file:|[A-Za-z]:\\)", text)


def test_a_chart_in_ods_holds_standard_elements_alone(blank: Blank) -> None:
    """Namespaces of the OASIS standard, and the one that it takes from the W3C."""
    own = ("urn:oasis:names:tc:opendocument:xmlns:", _NAMES["xlink"])
    for _, part in parts(blank("batch", "metric", ".ods")):
        for element in part.iter():
            for name in (element.tag, *element.attrib):
                assert str(etree.QName(name).namespace).startswith(own), name


@BOTH
def test_a_fill_leaves_the_charts_as_they_are(blank: Blank, tmp_path: Path, ending: str) -> None:
    path = typed(clean_log(), blank("batch", "metric", ending), tmp_path / f"log{ending}")
    fill(path)

    def drawn(path: Path) -> dict[str, bytes]:
        with zipfile.ZipFile(path) as package:
            names = [n for n in package.namelist() if re.match(r"xl/(charts|drawings)/|Object ", n)]
            return {name: package.read(name) for name in names}

    assert drawn(path) == drawn(blank("batch", "metric", ending)) != {}


@pytest.mark.office
@BOTH
def test_libreoffice_draws_what_a_fill_wrote(
    more: layouts.Layout, tmp_path: Path, soffice: Convert, ending: str
) -> None:
    """Saved anew as .xlsx, each chart holds the values that LibreOffice drew it from."""
    path = typed(clean_log(), built(more, tmp_path / f"empty{ending}"), tmp_path / f"log{ending}")
    fill(path)
    soffice("xlsx", tmp_path / "there", path)
    points, bars, curve, *_ = (part for _, part in parts(tmp_path / "there" / "log.xlsx"))
    workbook = open_workbook(path)

    def column(name: str, ready: int) -> list[float]:
        tab, row, place = workbook.names[name]
        cells = workbook.cells(tab)
        found = [cells.get((record, place)) for record in range(row + 2, row + 2 + ready)]
        return [float(cell.value) for cell in found if cell and cell.value is not None]

    gravities = column("fermentation_gravity_20", 60)
    assert len(gravities) == len(clean_log()["fermentation"])
    assert cached(curve, "c:yVal") == [pytest.approx(gravities)]
    assert cached(curve, "c:xVal") == [pytest.approx(column("fermentation_taken_at", 60))]
    keys = ("collected_strength", "expected_strength")
    assert cached(points, "c:yVal") == [pytest.approx(column(f"runs_{key}", 60)) for key in keys]
    keys = ("charge_alcohol", "collected_alcohol")
    assert cached(bars, "c:val") == [pytest.approx(column(f"runs_{key}", 3)) for key in keys]
    assert _texts(bars, "(//c:ser)[1]/c:cat//c:v")[:2] == ["1", "2"]
    assert _texts(points, "//c:ser/c:tx//c:v") == ["Collected strength", "Expected strength"]
    assert _texts(curve, "//c:chart/c:title//a:t") == ["Gravity of the wash"]


def cached(part: etree._Element, kind: str) -> list[list[float]]:
    """The numbers kept in each series of a chart."""
    count = len(part.findall(".//{*}ser"))
    return [
        [float(text) for text in _texts(part, f"(//c:ser)[{n}]/{kind}//c:v") if text not in ("", "NaN")]
        for n in range(1, count + 1)
    ]


@pytest.mark.office
def test_libreoffice_paints_the_charts(blank: Blank, tmp_path: Path, soffice: Convert) -> None:
    """In the page for a browser each chart is a picture, and a filled one is not the blank one."""
    for ending in ENDINGS:
        full = typed(clean_log(), blank("batch", "metric", ending), tmp_path / f"full-{ending[1:]}{ending}")
        fill(full)
        empty = tmp_path / f"empty-{ending[1:]}{ending}"
        shutil.copyfile(blank("batch", "metric", ending), empty)
        soffice("html", tmp_path, full, empty)
        pictures = [sorted(tmp_path.glob(f"{path.stem}_html_*")) for path in (full, empty)]
        assert len(pictures[0]) == len(pictures[1]) == len(charts(full))
        for filled, bare in zip(*pictures, strict=True):
            assert filled.read_bytes() != bare.read_bytes()
