"""Very many rows, cells and formats, very long texts, very deep nests."""

from collections.abc import Callable, Iterator

from hostile.planting import (
    EITHER,
    SHEET,
    STYLES,
    Case,
    Parts,
    Plant,
    before,
    below,
    changed,
    entry,
    ods_entry,
    ods_text_entry,
    put,
    rows,
    shared_strings,
    text_entry,
)

COLUMNS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
NOT_COUNTS = ("0", "-1", "99999999999999999999", "1e9", "16777217", "9" * 5000, "٣")
ROW = "<table:table-row>{}</table:table-row>"
REPEATED = '<table:table-row table:number-rows-repeated="1048000"><table:table-cell {}/></table:table-row>'


def cases() -> Iterator[Case]:
    """Filled as long as it fits into memory."""
    yield from _rows()
    yield from _repeats()
    yield from _texts()
    yield from _depths()
    areas = "".join(f'<mergeCell ref="A{number}:XFD1048576"/>' for number in range(1, 5000))
    merged = before(SHEET, "<pageMargins", f"<mergeCells>{areas}</mergeCells>")
    yield Case("huge merged areas", ".xlsx", merged, None)
    columns = '<col min="1" max="16384" width="9" style="11"/>' * 20_000
    yield Case("columns stated 20,000 times", ".xlsx", before(SHEET, "</cols>", columns), None)
    codes = "".join(f'<numFmt numFmtId="{number}" formatCode="{"[" * 9000}"/>' for number in range(200, 300))
    yield Case(
        "formats of brackets", ".xlsx", changed(STYLES, "<fonts", f"<numFmts>{codes}</numFmts><fonts"), None
    )


def _rows() -> Iterator[Case]:
    formats = 'spans="1:19" s="1" customFormat="1" ht="15" hidden="0"'
    lines = {
        "a million formatted rows": (1_000_000, f'<row r="{{0}}" {formats}/>', None),
        "a million rows with blank cells": (
            1_000_000,
            '<row r="{0}"><c r="A{0}" s="1"/><c r="S{0}" s="2"/></row>',
            EITHER,
        ),
        "800,000 numbers beside our table": (
            50_000,
            '<row r="{0}">' + "".join(f'<c r="Z{a}{{0}}"><v>{{0}}</v></c>' for a in COLUMNS[:16]) + "</row>",
            None,
        ),
        "9,000 records": (
            9_000,
            '<row r="{0}"><c r="A{0}"><v>{0}</v></c><c r="B{0}"><v>5</v></c><c r="C{0}"><v>60</v></c></row>',
            None,
        ),
        "cells of four bytes": (150, f'<row r="{{0}}">{"<c/>" * 16_000}</row>', EITHER),
    }
    for name, (count, row, refusal) in lines.items():
        yield Case(name, ".xlsx", rows(".xlsx", count, row.format), refusal)
    for count in (30_000, 45_000):
        yield Case(f"200 attributes in {count:,} rows", ".xlsx", rows(".xlsx", count, _spread), EITHER)
    record = '<row r="{0}"><c r="B{0}"><v>5</v></c></row>'
    plant = rows(".xlsx", 250_000, record.format, least=11_000)
    yield Case("250,000 records", ".xlsx", plant, "more than 10,000")
    single = '<table:table-row table:style-name="ro{0}"><table:table-cell/></table:table-row>'
    yield Case("a million rows each by itself", ".ods", rows(".ods", 1_000_000, single.format), EITHER)


def _spread(row: int) -> str:
    """A row of attributes that do not pack like a bomb."""
    return f'<row r="{row}" ' + " ".join(f'a{n}="{row * (n + 7919) % 100_003}"' for n in range(200)) + "/>"


def _repeats() -> Iterator[Case]:
    blank, styled = REPEATED.format(""), REPEATED.format('table:style-name="ce4"')
    yield Case("a million repeated rows", ".ods", below(blank), None)
    yield Case("a million repeated formatted rows", ".ods", below(styled), None)
    wide = 'table:number-columns-repeated="16384"'
    yield Case("repeated blank rows of repeated cells", ".ods", below(REPEATED.format(wide)), None)
    number = 'office:value-type="float" office:value="5"'
    yield Case("repeated rows of repeated cells", ".ods", below(REPEATED.format(f"{number} {wide}")), EITHER)
    yield Case(
        "an entry repeated a million times", ".ods", below(REPEATED.format(number)), "more than 10,000"
    )
    for count in NOT_COUNTS:
        row = f'<table:table-row table:number-rows-repeated="{count}"><table:table-cell/></table:table-row>'
        yield Case(f"rows repeated {count[:20]}", ".ods", below(row), "senseless")
        cell = ROW.format(f'<table:table-cell table:number-columns-repeated="{count}"/>')
        yield Case(f"cells repeated {count[:20]}", ".ods", below(cell), "senseless")


def _texts() -> Iterator[Case]:
    for length in (32_768, 1_000_000, 9_000_000):
        text = "x" * length
        yield Case(f"text of {length:,} in an entry", ".xlsx", text_entry(text, "A6"), None)
        yield Case(f"text of {length:,} as a heading", ".xlsx", text_entry(text, "B4"), None)
        yield Case(f"text of {length:,} as a unit", ".xlsx", text_entry(text, "B5"), None)
        yield Case(f"number of {length:,} digits", ".xlsx", entry(f"<v>{'9' * length}</v>"), None)
        yield Case(f"{length:,} spaces in a number", ".xlsx", text_entry(f"1{' ' * length}x"), None)
        yield Case(f"text of {length:,} in an entry", ".ods", ods_text_entry(text), None)
    yield Case("a long error", ".xlsx", entry(f"<v>#{'N' * 100_000}</v>", "B6", 't="e"'), None)
    # One that does not look like a bomb.
    much = "".join(map(str, range(2_000_000)))

    def huge(cell: Callable[[str], Plant]) -> Plant:
        return lambda parts, size: cell(much * (1 + int(2 * size)))(parts, size)

    yield Case("text of 40 MB", ".xlsx", huge(text_entry), "damaged")
    yield Case("text of 40 MB", ".ods", huge(ods_text_entry), "damaged")
    gaps = '<text:s text:c="999999999"/>' * 10_000
    yield Case("spaces by the billion", ".ods", ods_text_entry(gaps), None)
    yield Case("one long text in many cells", ".xlsx", _one_text_everywhere, EITHER)


def _one_text_everywhere(parts: Parts, size: float) -> None:
    shared_strings("y" * 9_000_000)(parts, size)
    places = [f"{a}{b}" for a in "TUV" for b in COLUMNS]
    for row in range(1, 1 + int(400 * size)):
        cells = "".join(f'<c r="{place}{row + 200}" t="s"><v>0</v></c>' for place in places)
        put(parts, SHEET, "</sheetData>", f'<row r="{row + 200}">{cells}</row>')


def _depths() -> Iterator[Case]:
    for depth, refusal in ((150, None), (100_000, "damaged")):

        def nest(name: str, inner: str = "", depth: int = depth) -> str:
            return f"<{name}>" * depth + inner + f"</{name}>" * depth

        rich = entry(f"<is>{nest('r', '<t>a</t>')}</is>", "A6", 't="inlineStr"')
        yield Case(f"nested {depth:,} deep", ".xlsx", before(SHEET, "</worksheet>", nest("x")), refusal)
        yield Case(f"rich text {depth:,} deep", ".xlsx", rich, refusal)
        yield Case(f"spans {depth:,} deep", ".ods", ods_text_entry(nest("text:span", "a")), refusal)
        yield Case(f"row groups {depth:,} deep", ".ods", below(nest("table:table-row-group")), refusal)
    attribute = ods_entry(f'office:value-type="string" office:string-value="{"z" * 9_000_000}"')
    yield Case("a long attribute", ".ods", attribute, None)
