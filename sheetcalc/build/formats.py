"""Number formats as layouts write them, taken apart for what the file formats need."""

import re
from typing import NamedTuple


class Digits(NamedTuple):
    """How a number is shown: its sign, digits before the point, digits always and perhaps shown after it."""

    sign: str
    whole: int
    always: int
    perhaps: int


_DIGITS = re.compile(r"([+-]?)(0+)(?:\.(0*)(#*))?")
_MOMENT = re.compile(r"yyyy|mm|dd|hh|[-:/. ]")


def numbers(code: str) -> tuple[Digits, ...]:
    """One section for all numbers, or three for those above, below and at zero; () for another format."""
    matches = [_DIGITS.fullmatch(section) for section in code.split(";")]
    if len(matches) not in (1, 3) or not all(matches):
        return ()
    groups = (match.groups("") for match in matches if match)
    return tuple(Digits(sign, len(whole), len(always), len(more)) for sign, whole, always, more in groups)


def moment(code: str) -> tuple[str, ...]:
    """The pieces of a date format: yyyy, mm, dd, hh and what stands between; () for another format."""
    return () if _MOMENT.sub("", code) or "yyyy" not in code else tuple(_MOMENT.findall(code))
