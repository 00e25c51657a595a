"""Absurd numbers, dates, styles, indexes and names of cells in and around the entries."""

import re
from collections.abc import Iterator

from hostile.planting import (
    BOOK,
    EITHER,
    SHEET,
    STYLES,
    Case,
    Parts,
    Plant,
    before,
    below,
    both,
    changed,
    entry,
    ods_entry,
    shared_strings,
)

NUMBERS = (
    *(
        "1e308",
        "-1e308",
        "1e-320",
        "1e999",
        "-1e999",
        "NaN",
        "INF",
        "-INF",
        "Infinity",
        "1_000",
        "٣",
        "",
        " 5 ",
    ),
    *("2958465", "2958466", "99999999", "-1", "-693594", "60", "0x10", "9" * 5000, "5e-324", "-0"),
)
DATES = (
    *(
        "1900-02-29",
        "0000-01-01",
        "99999-12-31",
        "9999-12-31T23:59:59.999999999",
        "-0001-01-01",
        "2026-13-01",
    ),
    *("2026-02-30T25:61:00", "", "today", "0001-01-01", "T", ":"),
)
DURATIONS = ("PT99999999999999H", "-P1D", "P999999999D", "P", "PT" + "9" * 5000 + "S", "P1Y", "")
CELL_NAMES = (
    "ZZZZ99999999",
    "A0",
    "XFE6",
    "B7",
    "B1048577",
    "6B",
    "",
    "B6:B7",
    "$B$6",
    "É6",
    "B²",
    "b6",
    "C6",
)
ROW_NUMBERS = ("0", "-1", "1048577", "1e3", "9" * 5000, "²", "", "7")
SETTINGS = '<calcPr calcId="99999999999999999999" calcMode="never" iterateCount="-5" fullCalcOnLoad="maybe"/>'


def cases() -> Iterator[Case]:
    """A value that can't be is told in a finding; a cell whose place can't be told refuses the file."""
    for value in NUMBERS:
        shown = value[:20]
        yield Case(f"number {shown}", ".xlsx", entry(f"<v>{value}</v>"), None)
        yield Case(f"number {shown} as a date", ".xlsx", _dated(value), None)
        index = both(shared_strings("x"), entry(f"<v>{value}</v>", "B6", 't="s"'))
        yield Case(f"shared text {shown}", ".xlsx", index, None)
        yield Case(f"style {shown}", ".xlsx", _styled(value), None)
        for kind in ("float", "percentage", "currency") if value == "NaN" else ("float",):
            plant = ods_entry(f'office:value-type="{kind}" office:value="{value}"')
            yield Case(f"{kind} {shown}", ".ods", plant, None)
        refusal = "array formula" if value.isdigit() and len(value) < 10 and len(value) > 4 else None
        yield Case(f"matrix {shown}", ".ods", _matrix(value), refusal)
    for date in DATES:
        yield Case(f"date {date}", ".xlsx", entry(f"<v>{date}</v>", "B6", 't="d"'), None)
        plant = ods_entry(f'office:value-type="date" office:date-value="{date}"')
        yield Case(f"date {date}", ".ods", plant, None)
    for duration in DURATIONS:
        plant = ods_entry(f'office:value-type="time" office:time-value="{duration}"')
        yield Case(f"time {duration[:20]}", ".ods", plant, None)
    for name in CELL_NAMES:
        yield Case(f"cell named {name}", ".xlsx", changed(SHEET, 'r="B6"', f'r="{name}"'), EITHER)
    for number in ROW_NUMBERS:
        plant = changed(SHEET, '<row r="6"', f'<row r="{number}"')
        yield Case(f"row numbered {number[:20]}", ".xlsx", plant, "valid" if number else None)
    yield Case("calculation settings", ".xlsx", before(BOOK, "</workbook>", SETTINGS), None)


def _dated(value: str) -> Plant:
    """Give the entries of the first record this value and the format of a date."""

    def plant(parts: Parts, size: float) -> None:
        styles = parts[STYLES].decode()
        at = styles.index("</cellXfs>")
        number = styles[styles.index("<cellXfs") : at].count("<xf ")
        parts[STYLES] = f'{styles[:at]}<xf numFmtId="14"/>{styles[at:]}'.encode()
        for cell in ("A6", "B6", "C6", "D6"):
            pattern = rf'<c r="{cell}"[^>]*?(?:/>|>.*?</c>)'
            changed(SHEET, pattern, f'<c r="{cell}" s="{number}"><v>{value}</v></c>')(parts, size)

    return plant


def _styled(value: str) -> Plant:
    """Give cells and columns this value for the number of their style, and columns for their own numbers."""

    def plant(parts: Parts, size: float) -> None:
        text = re.sub(r'(<c r="[A-S][67]") s="\d+"', rf'\1 s="{value}"', parts[SHEET].decode())
        columns = f'style="{value}" min="{value}" max="{value}"'
        parts[SHEET] = re.sub(r'style="\d+" min="\d+" max="\d+"', columns, text).encode()

    return plant


def _matrix(value: str) -> Plant:
    spans = f'table:number-matrix-rows-spanned="{value}" table:number-matrix-columns-spanned="{value}"'
    cell = f'<table:table-cell table:formula="of:=[.A6]" {spans} office:value-type="float" office:value="1"/>'
    blank = '<table:table-cell table:number-columns-repeated="25"/>'
    return below(f"<table:table-row>{blank}{cell}</table:table-row>" * 50)
