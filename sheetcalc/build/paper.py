"""The paper a workbook is printed on, and how small a wide sheet becomes there."""

from typing import NamedTuple

from sheetcalc.layouts import System

MARGIN = 1.0  # cm, left, right and above
FOOT = 1.5  # cm below, the footer in it
_POINTS = 72 / 2.54  # in a centimetre


class Paper(NamedTuple):
    """A size of paper: its number in xlsx, and its sides in centimetres."""

    code: int
    short: float
    long: float

    def room(self, landscape: bool) -> float:
        """The width that can be printed on, in points."""
        return ((self.long if landscape else self.short) - 2 * MARGIN) * _POINTS


PAPERS: dict[System, Paper] = {"metric": Paper(9, 21.0, 29.7), "us": Paper(1, 21.59, 27.94)}
