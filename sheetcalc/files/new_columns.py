"""How a column that is added beside a person's own table comes to look like its neighbours."""

import re
from collections.abc import Iterable
from copy import deepcopy

from lxml import etree

from sheetcalc.files.row_heights import USUAL_WIDTH, column_widths
from sheetcalc.files.workbook import Look, natural

_BEFORE_COLUMNS = ("sheetPr", "dimension", "sheetViews", "sheetFormatPr")
_STYLE = "{urn:oasis:names:tc:opendocument:xmlns:style:1.0}"
_NUMBER = "{urn:oasis:names:tc:opendocument:xmlns:datastyle:1.0}"
_WIDTH = _STYLE + "column-width"
_FO = "{urn:oasis:names:tc:opendocument:xmlns:xsl-fo-compatible:1.0}"
_FILL, _DECIMALS = _FO + "background-color", _NUMBER + "decimal-places"
_BORDERS = [_FO + "border" + side for side in ("", "-left", "-right", "-top", "-bottom")]
_MOMENTS = {"yyyy": "year", "mm": "month", "dd": "day", "hh": "hours"}
_NOT_IN_NAMES = re.compile(r"[^\w.-]")
_BUILT_IN = {"General": "0", "0": "1", "0.00": "2"}
_LAST_BUILT_IN = 163
_GENERAL = ("0", "49")  # a number under the format for text is shown as it is, too
CM_OF_A_LETTER = 0.22
_LENGTH = re.compile(r"(-?[0-9]{1,9}(?:\.[0-9]{1,9})?)(cm|mm|in|pt)")
_CM = {"cm": 1.0, "mm": 0.1, "in": 2.54, "pt": 2.54 / 72}


def dressed_xlsx(styles: etree._Element, number: str, look: Look) -> str:
    """The number of the cell style that takes over what a look says of that with `number`; made if need be.

    styles: the root of the styles' part, which is edited.
    """
    listed, index = styles.findall("{*}cellXfs/{*}xf"), natural(number)
    if index is None or index >= len(listed):
        return "0"
    wanted = deepcopy(listed[index])
    if look.number and not (look.kept and wanted.get("numFmtId", "0") not in _GENERAL):
        code = _format_xlsx(styles, look.number)
        wanted.set("numFmtId", code)
        wanted.attrib.pop("applyNumberFormat", "")
        if code != "0":
            wanted.set("applyNumberFormat", "1")
    for part in look.bare:
        wanted.set(f"{part}Id", "0")
        wanted.attrib.pop(f"apply{part.capitalize()}", "")
    said = [etree.tostring(style, method="c14n", with_tail=False) for style in [*listed, wanted]]
    place = said.index(said[-1])
    if place == len(listed):
        listed[-1].addnext(wanted)
        for formats in styles.iterchildren("{*}cellXfs"):
            formats.set("count", str(place + 1))
    return str(place)


def _format_xlsx(styles: etree._Element, code: str) -> str:
    """The number of a number format; it is listed where it is not."""
    if code in _BUILT_IN:
        return _BUILT_IN[code]
    formats = styles.find("{*}numFmts")
    if formats is None:
        formats = etree.Element(f"{{{etree.QName(styles).namespace}}}numFmts")
        styles.insert(0, formats)
    listed = formats.findall("{*}numFmt")
    for one in listed:
        if one.get("formatCode") == code:
            return str(one.get("numFmtId"))
    number = str(max([_LAST_BUILT_IN, *(natural(one.get("numFmtId")) or 0 for one in listed)]) + 1)
    etree.SubElement(formats, formats.tag[:-1], numFmtId=number, formatCode=code)
    formats.set("count", str(len(listed) + 1))
    return number


def bare_xlsx(styles: etree._Element, numbers: Iterable[str]) -> frozenset[str]:
    """What the cell styles of these numbers do not have alike. styles: the root of the styles' part."""
    listed = dict(enumerate(styles.findall("{*}cellXfs/{*}xf")))
    used = [listed[index] for number in numbers if (index := natural(number)) in listed and index is not None]
    drawn = [
        any(side.get("style", "none") != "none" for side in border)
        for border in styles.findall("{*}borders/{*}border")
    ]
    borders = [natural(style.get("borderId", "0")) or 0 for style in used]
    differing = {
        part for part in ("fill", "font") if len({style.get(f"{part}Id", "0") for style in used}) > 1
    }
    bordered = all(index < len(drawn) and drawn[index] for index in borders)
    return frozenset(differing | (set() if bordered else {"border"}))


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


def dressed_ods(styles: etree._Element, name: str | None, look: Look) -> str:
    """The cell style that takes over of that called `name` what a look says; made where there is none.

    styles: the automatic styles of the content, which are edited.
    """
    number = "" if look.kept and _shows_numbers(styles, name) else look.number
    bare = "".join(part[:2] for part in sorted(look.bare))
    made = "-".join(filter(None, [name or "cell", "sheetcalc", _NOT_IN_NAMES.sub("", number), bare]))
    if _find(styles, made, "table-cell") is not None:
        return made
    style = _copied(styles, name, made, "table-cell")
    if number:
        # A number format has to stand before the styles that use it.
        style.set(_STYLE + "data-style-name", _format_ods(styles, number))
    properties = style.find(f"{_STYLE}table-cell-properties")
    if look.bare & {"fill", "border"} and properties is None:
        properties = etree.Element(f"{_STYLE}table-cell-properties")
        style.insert(0, properties)
    if properties is not None and "fill" in look.bare:
        properties.set(_FILL, "transparent")
    if properties is not None and "border" in look.bare:
        for side in _BORDERS:
            properties.attrib.pop(side, "")
        properties.set(_BORDERS[0], "none")
    letters = style.find(f"{_STYLE}text-properties")
    if "font" in look.bare and letters is not None:
        style.remove(letters)
    return made


def _format_ods(styles: etree._Element, code: str) -> str:
    """The name of the number format that a code means; it is made where it is not there."""
    name = f"sheetcalc-{_NOT_IN_NAMES.sub('', code)}"
    if any(style.get(_STYLE + "name") == name for style in styles.iterchildren(f"{_NUMBER}*")):
        return name
    if "yyyy" in code:
        made = etree.Element(f"{_NUMBER}date-style", {f"{_STYLE}name": name})
        for piece in re.findall("yyyy|mm|dd|hh|[-: ]", code):
            minutes = piece == "mm" and made.find(f"{_NUMBER}hours") is not None
            part = "minutes" if minutes else _MOMENTS.get(piece, "text")
            element = etree.SubElement(made, _NUMBER + part)
            if part == "text":
                element.text = piece
            else:
                element.set(f"{_NUMBER}style", "long")
    else:
        made = etree.Element(f"{_NUMBER}number-style", {f"{_STYLE}name": name})
        digits = etree.SubElement(made, f"{_NUMBER}number", {f"{_NUMBER}min-integer-digits": "1"})
        if code != "General":
            digits.set(_DECIMALS, str(len(code.partition(".")[2])))
    styles.insert(0, made)
    return name


def _shows_numbers(styles: etree._Element, name: str | None) -> bool:
    """Whether a cell style has a number format of its own, one that says more than "as it is typed"."""
    style = None if name is None else _find(styles, name, "table-cell")
    wanted = None if style is None else style.get(_STYLE + "data-style-name")
    if wanted is None:
        return False
    for format_ in styles.iterchildren(f"{_NUMBER}*"):
        if format_.get(_STYLE + "name") == wanted:
            kind, digits = etree.QName(format_).localname, format_.find(f"{_NUMBER}number")
            as_typed = kind == "number-style" and digits is not None and digits.get(_DECIMALS) is None
            return not (as_typed or kind == "text-style")
    return True


def bare_ods(styles: etree._Element, names: Iterable[str | None]) -> frozenset[str]:
    """What the cell styles of these names do not have alike. styles: the automatic ones of the content."""
    fills, fonts, bordered = set(), set(), True
    for name in names:
        style = None if name is None else _find(styles, name, "table-cell")
        parent = name if style is None else style.get(_STYLE + "parent-style-name")
        known = parent in (None, "Default")
        properties = None if style is None else style.find(f"{_STYLE}table-cell-properties")
        letters = None if style is None else style.find(f"{_STYLE}text-properties")
        held = dict(() if properties is None else properties.items())
        fills.add(("" if known else parent, held.get(_FILL, "transparent")))
        fonts.add(("" if known else parent, "" if letters is None else str(sorted(letters.items()))))
        bordered &= any(held.get(side, "none") != "none" for side in _BORDERS) or not known
    differing = {part for part, kinds in (("fill", fills), ("font", fonts)) if len(kinds) > 1}
    return frozenset(differing | (set() if bordered else {"border"}))


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
