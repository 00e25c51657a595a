"""How a column that is added beside a person's own table comes to look like its neighbours."""

import re
from copy import deepcopy

from lxml import etree

from sheetcalc.files.row_heights import USUAL_WIDTH, column_widths
from sheetcalc.files.workbook import natural

_BEFORE_COLUMNS = ("sheetPr", "dimension", "sheetViews", "sheetFormatPr")
_STYLE = "{urn:oasis:names:tc:opendocument:xmlns:style:1.0}"
_NUMBER = "{urn:oasis:names:tc:opendocument:xmlns:datastyle:1.0}"
_WIDTH = _STYLE + "column-width"
_OUR_NUMBER = "sheetcalc-number"
CM_OF_A_LETTER = 0.22
_LENGTH = re.compile(r"(-?[0-9]{1,9}(?:\.[0-9]{1,9})?)(cm|mm|in|pt)")
_CM = {"cm": 1.0, "mm": 0.1, "in": 2.54, "pt": 2.54 / 72}


def unformatted_xlsx(styles: etree._Element, number: str) -> str:
    """The number of the cell style that is `number` but for its number format; made where there is none.

    styles: the root of the styles' part, which is edited.
    """
    listed, index = styles.findall("{*}cellXfs/{*}xf"), natural(number)
    if index is None or index >= len(listed):
        return "0"
    wanted = deepcopy(listed[index])
    wanted.set("numFmtId", "0")
    wanted.attrib.pop("applyNumberFormat", "")
    said = [etree.tostring(style, method="c14n", with_tail=False) for style in [*listed, wanted]]
    place = said.index(said[-1])
    if place == len(listed):
        listed[-1].addnext(wanted)
        for formats in styles.iterchildren("{*}cellXfs"):
            formats.set("count", str(place + 1))
    return str(place)


def widen_xlsx(sheet: etree._Element, column: int, letters: float) -> None:
    """Make a column at least so many letters wide. sheet: the root of its part, which is edited."""
    if column_widths(sheet).get(column, USUAL_WIDTH) >= letters:
        return
    columns = sheet.find("{*}cols")
    if columns is None:
        columns = etree.Element(f"{{{etree.QName(sheet).namespace}}}cols")
        before = [
            child for child in sheet.iterchildren("{*}*") if etree.QName(child).localname in _BEFORE_COLUMNS
        ]
        sheet.insert(sheet.index(before[-1]) + 1 if before else 0, columns)
    stated = _alone(columns, column)
    stated.set("width", f"{letters:g}")
    stated.set("customWidth", "1")


def _alone(columns: etree._Element, column: int) -> etree._Element:
    """What is stated of one column, split off from what is stated of its neighbours, too, or made."""
    place = len(columns)
    for stated in columns.iterchildren("{*}col"):
        first, last = natural(stated.get("min")) or 1, natural(stated.get("max")) or 1
        if first > column:
            place = columns.index(stated)
            break
        if column <= last:
            for low, high, put in (
                (first, column - 1, stated.addprevious),
                (column + 1, last, stated.addnext),
            ):
                if low <= high:
                    twin = deepcopy(stated)
                    twin.attrib.update({"min": str(low), "max": str(high)})
                    put(twin)
            stated.attrib.update({"min": str(column), "max": str(column)})
            return stated
    made = etree.Element(columns.tag[:-1], min=str(column), max=str(column))
    columns.insert(place, made)
    return made


def unformatted_ods(styles: etree._Element, name: str) -> str:
    """The cell style that is `name` but for its number format; made where there is none.

    styles: the automatic styles of the content, which are edited.
    """
    made = f"{name}-sheetcalc"
    if _find(styles, made, "table-cell") is None:
        if styles.find(f"{_NUMBER}number-style[@{_STYLE}name='{_OUR_NUMBER}']") is None:
            general = etree.SubElement(styles, f"{_NUMBER}number-style", {f"{_STYLE}name": _OUR_NUMBER})
            etree.SubElement(general, f"{_NUMBER}number", {f"{_NUMBER}min-integer-digits": "1"})
        style = _copied(styles, name, made, "table-cell")
        style.set(_STYLE + "data-style-name", _OUR_NUMBER)
    return made


def column_style_ods(styles: etree._Element, name: str | None, letters: float) -> str | None:
    """The style of a column that is like `name` but at least so many letters wide; None where that is."""
    there = None if name is None else _find(styles, name, "table-column")
    stated = None if there is None else there.find(f"{_STYLE}table-column-properties")
    wide = letters * CM_OF_A_LETTER
    if stated is not None and cm(stated.get(_WIDTH)) >= wide:
        return None
    made = f"{name or 'column'}-sheetcalc-{letters:.0f}"
    if _find(styles, made, "table-column") is None:
        style = _copied(styles, name, made, "table-column")
        properties = style.find(f"{_STYLE}table-column-properties")
        if properties is None:
            properties = etree.SubElement(style, f"{_STYLE}table-column-properties")
        properties.set(_WIDTH, f"{wide:.2f}cm")
    return made


def _find(styles: etree._Element, name: str, family: str) -> etree._Element | None:
    for style in styles.iterchildren(f"{_STYLE}style"):
        if style.get(_STYLE + "name") == name and style.get(_STYLE + "family") == family:
            return style
    return None


def _copied(styles: etree._Element, name: str | None, made: str, family: str) -> etree._Element:
    """A new style like another, or one that is derived from it where it stands in another part."""
    there = None if name is None else _find(styles, name, family)
    style = etree.Element(f"{_STYLE}style") if there is None else deepcopy(there)
    style.set(_STYLE + "name", made)
    style.set(_STYLE + "family", family)
    if there is None and name is not None:
        style.set(_STYLE + "parent-style-name", name)
    styles.append(style)
    return style


def cm(length: str | None) -> float:
    """A length as ods writes it, in cm; 0 for none."""
    match = _LENGTH.fullmatch(length or "")
    return float(match[1]) * _CM[match[2]] if match else 0.0
