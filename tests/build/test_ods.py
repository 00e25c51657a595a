"""What an .ods workbook holds beside its cells."""

import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import get_args

import pytest
from lxml import etree

from sheetcalc import layouts

Blank = Callable[..., Path]
_NAMES = {
    "table": "urn:oasis:names:tc:opendocument:xmlns:table:1.0",
    "style": "urn:oasis:names:tc:opendocument:xmlns:style:1.0",
    "number": "urn:oasis:names:tc:opendocument:xmlns:datastyle:1.0",
    "config": "urn:oasis:names:tc:opendocument:xmlns:config:1.0",
    "office": "urn:oasis:names:tc:opendocument:xmlns:office:1.0",
    "text": "urn:oasis:names:tc:opendocument:xmlns:text:1.0",
    "fo": "urn:oasis:names:tc:opendocument:xmlns:xsl-fo-compatible:1.0",
}


def _part(path: Path, name: str) -> etree._Element:
    with zipfile.ZipFile(path) as package:
        return etree.fromstring(package.read(name))


def _all(node: etree._Element, path: str) -> list[etree._Element]:
    found = node.xpath(path, namespaces=_NAMES)
    assert isinstance(found, list)
    return [each for each in found if isinstance(each, etree._Element)]


def _get(node: etree._Element, name: str) -> str:
    prefix, local = name.split(":")
    return str(node.get(f"{{{_NAMES[prefix]}}}{local}", ""))


@pytest.fixture(scope="module")
def batch(blank: Blank) -> Path:
    """The metric batch workbook."""
    return blank("batch", "metric", ".ods")


def _rule(path: Path, sheet: str, row: int, column: int) -> etree._Element:
    """The validation of a cell."""
    content = _part(path, "content.xml")
    at = 1
    for element in _all(content, f"//table:table[@table:name='{sheet}']//table:table-row"):
        count = int(_get(element, "table:number-rows-repeated") or 1)
        if at <= row < at + count:
            name = _get(element[column - 1], "table:content-validation-name")
            return _all(content, f"//table:content-validation[@table:name='{name}']")[0]
        at += count
    raise AssertionError(f"no row {row}")


def test_drop_downs(batch: Path) -> None:
    unit = _get(_rule(batch, "Fermentation", 5, 3), "table:condition")
    assert unit == 'of:cell-content-is-in-list("°C";"°F")'
    kind = _get(_rule(batch, "Batch", 5, 2), "table:condition")
    assert kind == 'of:cell-content-is-in-list("sugar";"grain";"fruit";"molasses";"wine")'


@pytest.mark.parametrize("row", [6, 65, 66, 2005])
def test_limits_hold_for_ready_and_later_rows(batch: Path, row: int) -> None:
    rule = _rule(batch, "Fermentation", row, 3)
    assert "AND([.C6]>=0;[.C6]<=40)" in _get(rule, "table:condition")
    assert _get(rule, "table:base-cell-address") == "'Fermentation'.C6"
    assert _get(_all(rule, "table:error-message")[0], "table:message-type") == "warning"
    assert "0 to 40 °C" in "".join(str(text) for text in rule.itertext())


def test_views(batch: Path) -> None:
    settings = _part(batch, "settings.xml")

    def item(sheet: str, name: str) -> str | None:
        entry = f"//config:config-item-map-entry[@config:name='{sheet}']"
        return _all(settings, f"{entry}/config:config-item[@config:name='{name}']")[0].text

    assert _all(settings, "//config:config-item[@config:name='ActiveTable']")[0].text == "Start"
    assert item("Fermentation", "VerticalSplitPosition") == "5"
    assert item("Fermentation", "HorizontalSplitPosition") == "1"
    assert item("Batch", "VerticalSplitPosition") == "3"
    assert item("Start", "VerticalSplitMode") == "0"


def test_headings_are_printed_on_every_page(batch: Path) -> None:
    content = _part(batch, "content.xml")
    for sheet, rows in {"Fermentation": 2, "Runs": 2, "Findings": 1}.items():
        table = f"//table:table[@table:name='{sheet}']"
        assert len(_all(content, f"{table}/table:table-header-rows/table:table-row")) == rows


def test_pages_are_as_wide_as_they_can_be_read(batch: Path) -> None:
    styles = _part(batch, "styles.xml")
    layouts_ = _all(styles, "//style:page-layout/style:page-layout-properties")
    assert {_get(each, "style:print-orientation") for each in layouts_} == {"portrait", "landscape"}
    assert {_get(each, "style:scale-to-X") for each in layouts_} == {"1", "2"}
    assert {_get(each, "style:print-page-order") for each in layouts_} == {"ltr"}


@pytest.mark.parametrize(
    ("system", "sides"), [("metric", {"21cm", "29.7cm"}), ("us", {"21.59cm", "27.94cm"})]
)
def test_the_paper_is_that_of_the_country(blank: Blank, system: layouts.System, sides: set[str]) -> None:
    styles = _part(blank("batch", system, ".ods"), "styles.xml")
    for each in _all(styles, "//style:page-layout/style:page-layout-properties"):
        assert {_get(each, "fo:page-width"), _get(each, "fo:page-height")} == sides
    assert _all(styles, "//style:footer/style:region-center//text:file-name")


@pytest.mark.parametrize("kind", layouts.kinds())
@pytest.mark.parametrize("system", get_args(layouts.System))
def test_every_style_that_is_named_is_there(blank: Blank, kind: str, system: layouts.System) -> None:
    path = blank(kind, system, ".ods")
    parts = [_part(path, name) for name in ("content.xml", "styles.xml")]
    there = {_get(each, "style:name") for part in parts for each in _all(part, "//*[@style:name]")}
    for attribute in ("table:style-name", "style:data-style-name", "style:apply-style-name"):
        used = {_get(each, attribute) for part in parts for each in _all(part, f"//*[@{attribute}]")}
        assert used <= there


def test_the_sheets_stay_small(batch: Path) -> None:
    assert len(_all(_part(batch, "content.xml"), "//table:table-cell")) < 3000


def test_dates_and_signs_have_their_formats(batch: Path) -> None:
    styles = _part(batch, "styles.xml")
    moments = [
        [etree.QName(piece).localname for piece in each] for each in _all(styles, "//number:date-style")
    ]
    assert ["year", "text", "month", "text", "day", "text", "hours", "text", "minutes"] in moments
    signed = _all(styles, "//number:number-style[style:map]")
    conditions = {
        tuple(_get(each, "style:condition") for each in _all(style, "style:map")) for style in signed
    }
    assert ("value()>0", "value()<0") in conditions
