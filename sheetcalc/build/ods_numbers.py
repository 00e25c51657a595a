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
    if len(sections) == 1:
        return [_number(name, sections[0])]
    above, below, zero = (
        _number(f"{name}{end}", s) for end, s in zip(("P0", "P1", ""), sections, strict=True)
    )
    for condition, part in ((">0", above), ("<0", below)):
        part.setAttrNS(STYLENS, "volatile", "true")
        zero.addElement(Map(condition=f"value(){condition}", applystylename=part))
    return [above, below, zero]


def _number(name: str, section: formats.Digits) -> Any:
    style = number.NumberStyle(name=name)
    if section.sign:
        style.addElement(number.Text(text=section.sign))
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
