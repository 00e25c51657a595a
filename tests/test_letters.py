"""How many lines a text takes: counted in LibreOffice 7.4, letters of 10 points as broad as Arial's."""

import pytest

from sheetcalc import letters

A_CHARACTER, FREE = 5.25, 10.5  # points: of a column's width, and beside its text
COUNTED = [
    (
        3,
        42.7,
        "ERROR [Wanted strength] 50.0 % vol is above what you have, 44.8 % vol; water only makes it weaker. "
        "Check the units, or distil it again.",
    ),
    (
        4,
        52.7,
        "Stop: no heat. Check the number and its unit; if they are right, let it cool and take some out. An "
        "over-full still can boil over and block its outlet, and a blocked still can burst. Keep to your "
        "local law and rules.",
    ),
    (
        5,
        44.7,
        "WARNING [Dose] 400 mL of silica sol in 20.0 L is far from the usual 10 mL to 60 mL. It would fit as "
        "40 mL (two digits exchanged). Check the dose, the volume and the packet; if the packet says so, "
        "keep to the packet.",
    ),
    (
        9,
        42.7,
        "WARNING [Alcoholmeter after] 43.2 % vol measured, 40.0 % vol expected; your instruments alone do "
        "not explain it. Stir, let it cool to about 20 °C (68 °F) and read again. If it stays, the volume or "
        "the first reading was off.\nWARNING [Wanted strength] It comes out at 40.0 % vol, below the usual "
        "legal minimum of 43.0 % vol for this place. Fine for tasting; check your own local law before you "
        "bottle it.",
    ),
]


@pytest.mark.parametrize(("counted", "width", "text"), COUNTED)
def test_a_flag_is_given_the_lines_it_takes_and_hardly_one_more(
    counted: int, width: float, text: str
) -> None:
    assert counted <= letters.lines(text, width * A_CHARACTER - FREE, 10.0) <= counted + 1


def test_a_word_longer_than_the_column_is_broken() -> None:
    """Twelve letters of 0.556 em at 10 points are 66.7 points; a space and a short word follow."""
    assert letters.lines("n" * 12, 70.0, 10.0) == 1
    assert letters.lines("n" * 12, 40.0, 10.0) == 2
    assert letters.lines("n" * 12 + " nn", 70.0, 10.0) == 2
