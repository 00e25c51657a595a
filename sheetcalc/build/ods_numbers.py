"""Number formats, as spreadsheet programs show them to people, as OpenDocument data styles."""

import re
from typing import Any

from odf import number
from odf.namespaces import NUMBERNS
from odf.style import Map

from sheetcalc.layouts import LayoutError

_SECTION = re.compile(r"([+-]?)(0+)(?:\.(0*)(#*))?(%?)")
_PIECE = re.compile(r"yyyy|mm|dd|hh|[-:/. ]")


def data_styles(name: str, code: str) -> list[Any]:
    """The data style of this name for a format code, and before it the ones it refers to.

    Read are dates of yyyy, mm, dd, hh; and numbers of 0, # and a sign, in one section, or in three for
    positive, negative and zero. Raises LayoutError for anything else.
    """
    if "yy" in code:
        return [_moment(name, code)]
    sections = code.split(";")
    if len(sections) == 1:
        return [_number(name, sections[0])]
    if len(sections) != 3:
        raise LayoutError(f"The number format {code!r} has to have one section, or three.")
    parts = {">0": _number(f"{name}p", sections[0]), "<0": _number(f"{name}n", sections[1])}
    zero = _number(name, sections[2])
    for condition, part in parts.items():
        part.setAttrNS("urn:oasis:names:tc:opendocument:xmlns:style:1.0", "volatile", "true")
        zero.addElement(Map(condition=f"value(){condition}", applystylename=part))
    return [*parts.values(), zero]


def _number(name: str, section: str) -> Any:
    match = _SECTION.fullmatch(section)
    if not match:
        raise LayoutError(f"The number format {section!r} is not one of those that can be written.")
    sign, whole, always, perhaps, percent = match.groups("")
    style = number.PercentageStyle(name=name) if percent else number.NumberStyle(name=name)
    if sign:
        style.addElement(number.Text(text=sign))
    digits = number.Number(minintegerdigits=len(whole), decimalplaces=len(always) + len(perhaps))
    digits.setAttrNS(NUMBERNS, "min-decimal-places", str(len(always)))
    style.addElement(digits)
    if percent:
        style.addElement(number.Text(text="%"))
    return style


def _moment(name: str, code: str) -> Any:
    if _PIECE.sub("", code):
        raise LayoutError(f"The date format {code!r} can hold yyyy, mm, dd and hh only.")
    style = number.DateStyle(name=name)
    clock = False
    for piece in _PIECE.findall(code):
        clock = clock or piece == "hh"
        style.addElement(_date_part(piece, clock))
    return style


def _date_part(piece: str, clock: bool) -> Any:
    match piece:
        case "yyyy":
            return number.Year(style="long")
        case "mm":
            return number.Minutes(style="long") if clock else number.Month(style="long")
        case "dd":
            return number.Day(style="long")
        case "hh":
            return number.Hours(style="long")
        case _:
            return number.Text(text=piece)
