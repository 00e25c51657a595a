"""How numbers are shown in their cells, in whatever unit somebody chooses over them.

A cell keeps its format when another unit is chosen, so a format tells sizes apart: millilitres shown without
digits turn into gallons below ten, which need three. The sections say "below", never "above": a section for
what is not above a limit loses the minus of its numbers in some programs.
"""

from collections.abc import Sequence

# Quantities whose units lie so far apart that digits which fit one don't fit another.
_WIDE = frozenset(
    {
        "volume",
        "alcohol",
        "mass",
        "flow",
        "mass dose",
        "volume dose",
        "throughput",
        "power",
        "energy",
    }
)
# SG of a wash and nothing else lies between these, but for a °Bx or °P on the last days.
_SPECIFIC = (0.95, 1.25)
_ENOUGH = 3  # digits after the point for the largest units


def typed(quantity: str, label: str, digits: int) -> str:
    """The format of an entry: the usual digits, and those that were typed beyond them.

    quantity, label: as in `units.QUANTITIES`, the label that of the layout's unit; digits: after the point.
    """
    if not digits:
        return "General"
    if quantity == "gravity" and label == "SG":
        # 1045, 45 points, 11.2 and -1.5 °Bx stand as they were typed.
        return _by_size([(_SPECIFIC[0], "General"), (_SPECIFIC[1], _digits(digits, 1))], "General")
    if quantity in _WIDE:
        return _by_size([(1000 if digits < _ENOUGH else 100, _digits(digits, 2))], "General")
    return _digits(digits, 2)


def computed(quantity: str, label: str, digits: int) -> str:
    """The format of a result: the usual digits in the layout's own unit, more where the number is smaller.

    quantity, label, digits: as for `typed`.
    """
    usual = _digits(digits)
    if quantity == "gravity" and label == "SG":
        return _by_size([(_SPECIFIC[0], _digits(1)), (_SPECIFIC[1], usual)], _digits(1))
    if quantity == "gravity difference" and digits == 1:
        return _by_size([(0.1, _digits(1, 3))], usual)
    # Minutes turn into hours; hours and days are seldom shown in anything longer.
    if (quantity in _WIDE and digits < _ENOUGH) or (quantity == "duration" and not digits):
        # A proof gallon is 64 fluid ounces of alcohol, and a small batch gives several.
        limit = 10 if quantity == "alcohol" else 10 ** (1 - digits)
        always = max(digits, 1)
        return _by_size([(limit, _digits(always, _ENOUGH - always))], usual)
    return usual


def _digits(always: int, perhaps: int = 0) -> str:
    return "0." + "0" * always + "#" * perhaps if always else "0"


def _by_size(sections: Sequence[tuple[float, str]], others: str) -> str:
    """Numbers below each limit, the lowest first and above zero, are shown in a way of their own."""
    return ";".join([*(f"[<{limit:g}]{shown}" for limit, shown in sections), others])
