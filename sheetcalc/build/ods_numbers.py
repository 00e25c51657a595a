"""Number formats, as spreadsheet programs show them to people, as OpenDocument data styles."""

from typing import Any

from odf import number
from odf.namespaces import NUMBERNS, STYLENS
from odf.style import Map

from sheetcalc.build import formats


def data_styles(name: str, code: str) -> list[Any]:
    """The data style of this name for a format code, and before it the ones it refers to."""
    sections = formats.numbers(code)
    if not sections:
        return [_moment(name, formats.moment(code))]
    *others, last = sections
    made = _number(name, last)
    parts = [_number(f"{name}P{place}", section) for place, section in enumerate(others)]
    for section, sign, part in zip(others, "><", parts, strict=False):
        part.setAttrNS(STYLENS, "volatile", "true")
        condition = f"{sign}0" if section.below is None else f"<{section.below:g}"
        made.addElement(Map(condition=f"value(){condition}", applystylename=part))
    return [*parts, made]


def _number(name: str, section: formats.Digits) -> Any:
    style = number.NumberStyle(name=name)
    if section.sign:
        style.addElement(number.Text(text=section.sign))
    if not section.whole:
        style.addElement(number.Number(minintegerdigits=1))
        return style
    places = section.always + section.perhaps
    digits = number.Number(minintegerdigits=section.whole, decimalplaces=places)
    if section.perhaps:
        digits.setAttrNS(NUMBERNS, "min-decimal-places", str(section.always))
        digits.setAttrNS(NUMBERNS, "decimal-replacement", "")
    style.addElement(digits)
    return style


def _moment(name: str, pieces: tuple[str, ...]) -> Any:
    style = number.DateStyle(name=name)
    parts = {"yyyy": number.Year, "dd": number.Day, "hh": number.Hours}
    for place, piece in enumerate(pieces):
        if piece == "mm":
            part = number.Minutes if "hh" in pieces[:place] else number.Month
        elif piece in parts:
            part = parts[piece]
        else:
            style.addElement(number.Text(text=piece))
            continue
        style.addElement(part(style="long"))
    return style
