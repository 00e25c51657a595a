"""Number formats as layouts write them, taken apart for what the file formats need."""

import re
from typing import NamedTuple


class Digits(NamedTuple):
    """How a number is shown: its sign, digits before the point, digits always and perhaps shown after it.

    `below` is the number below which it is shown so, None for no such limit; without any digits it is shown
    as it was typed.
    """

    below: float | None
    sign: str
    whole: int
    always: int
    perhaps: int


_DIGITS = re.compile(r"(?:\[<(\d+(?:\.\d+)?)\])?(?:General|([+-]?)(0+)(?:\.(0*)(#*))?)")
_MOMENT = re.compile(r"yyyy|mm|dd|hh|[-:/. ]")


def numbers(code: str) -> tuple[Digits, ...]:
    """The sections of a format; () for another one.

    One for all numbers; three for those above, below and at zero; or up to three for those below a limit,
    below another one, and all others.
    """
    matches = [_DIGITS.fullmatch(section) for section in code.split(";")]
    if code == "General" or not all(matches):
        return ()
    sections = tuple(
        Digits(float(below) if below else None, sign, len(whole), len(always), len(more))
        for below, sign, whole, always, more in (match.groups("") for match in matches if match)
    )
    limits = [section.below is not None for section in sections]
    known = ([False], [False] * 3, [True, False], [True, True, False])
    return sections if limits in known else ()


def moment(code: str) -> tuple[str, ...]:
    """The pieces of a date format: yyyy, mm, dd, hh and what stands between; () for another format."""
    return () if _MOMENT.sub("", code) or "yyyy" not in code else tuple(_MOMENT.findall(code))
