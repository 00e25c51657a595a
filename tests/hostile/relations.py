"""Relationships that lead out of the file, nowhere or round in a circle, and sheets that are there twice."""

from collections.abc import Iterator

from hostile.planting import (
    BOOK,
    BOOK_RELATIONS,
    CONTENT,
    EITHER,
    MAIN,
    RELATION,
    Case,
    Parts,
    before,
    changed,
    put,
)

TARGETS = (
    *("../../../../etc/passwd", "/etc/passwd", "file:///etc/passwd", "C:\\Windows\\win.ini", "..\\..\\x"),
    *("%2e%2e/%2e%2e/etc/passwd", "%00", "//server/share/x", "workbook.xml#x", "", ".", "x" * 100_000),
)


def cases() -> Iterator[Case]:
    """No target leads to a file; one that leads to no part is damage."""
    for target in TARGETS:
        attribute = 'Target="{}"'.format(target.replace("\\", "\\\\"))
        for part, usual in (("_rels/.rels", "workbook"), (BOOK_RELATIONS, "sheet3")):
            plant = changed(part, rf'Target="[^"]*{usual}\.xml"', attribute)
            yield Case(f"target {target[:30]} of the {usual}", ".xlsx", plant, EITHER)
    yield Case("relationships in a circle", ".xlsx", _circle, None)
    one_part = changed(BOOK_RELATIONS, r"sheet4\.xml", "sheet3.xml")
    yield Case("two sheets of one part", ".xlsx", one_part, "twice")
    yield Case("two sheets of one name", ".xlsx", changed(BOOK, 'name="Blend"', 'name="Strength"'), "twice")
    table = '<table:table table:name="Strength"/>'
    yield Case("two sheets of one name", ".ods", before(CONTENT, "<table:named-expressions", table), "twice")
    long = "n" * 9_000_000
    yield Case(
        "a sheet with a long name", ".xlsx", changed(BOOK, 'name="Start"', f'name="{long}"'), "too long"
    )
    yield Case("10,000 sheets", ".xlsx", _many_sheets, None)
    yield Case("10,000 sheets", ".ods", _many_tables, None)


def _circle(parts: Parts, size: float) -> None:
    parts["xl/worksheets/_rels/sheet3.xml.rels"] = (
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        f'<Relationship Id="rId1" Type="{RELATION}/worksheet" Target="../workbook.xml"/>'
        f'<Relationship Id="rId2" Type="{RELATION}/table" Target="sheet3.xml"/></Relationships>'
    ).encode()


def _many_sheets(parts: Parts, size: float) -> None:
    numbers = range(100, 100 + int(9_900 * size))
    sheet = '<sheet xmlns:r="{}" name="S{}" sheetId="{}" r:id="x{}"/>'
    put(parts, BOOK, "</sheets>", "".join(sheet.format(RELATION, n, n, n) for n in numbers))
    relation = '<Relationship Id="x{}" Type="{}/worksheet" Target="worksheets/s{}.xml"/>'
    put(parts, BOOK_RELATIONS, "</Relationships>", "".join(relation.format(n, RELATION, n) for n in numbers))
    row = '<row><c><f>INDIRECT("S100!A1")</f><v>1</v></c></row>'
    one = f'<worksheet xmlns="{MAIN}"><sheetData>{row}</sheetData></worksheet>'.encode()
    parts |= {f"xl/worksheets/s{n}.xml": one for n in numbers}


def _many_tables(parts: Parts, size: float) -> None:
    cell = '<table:table-cell table:formula="of:=INDIRECT(1)"/>'
    table = f'<table:table table:name="S{{}}"><table:table-row>{cell}</table:table-row></table:table>'
    text = "".join(table.format(number) for number in range(int(10_000 * size)))
    put(parts, CONTENT, "<table:named-expressions", text)
