"""Cells of OpenDocument spreadsheets read and written in place."""

import re
import time
from datetime import datetime
from pathlib import Path

import pytest
from files.workbook_samples import changed_members, ods_cells, part, with_parts, write_ods

from sheetcalc.files import BadWorkbook, Cell, open_workbook

COLUMN = '<table:table-column table:number-columns-repeated="16384" table:default-cell-style-name="Default"/>'


def table(rows: str, name: str = "Data", columns: str = COLUMN) -> str:
    return f'<table:table table:name="{name}">{columns}{rows}</table:table>'


def number(value: float, extra: str = "") -> str:
    return (
        f'<table:table-cell {extra} office:value-type="float" office:value="{value}" '
        f'calcext:value-type="float"><text:p>{value}</text:p></table:table-cell>'
    )


def make(tmp_path: Path, rows: str, more: str = "") -> Path:
    return write_ods(tmp_path / "log.ods", table(rows) + more)


def repeated(rows: int, cells: str) -> str:
    return f'<table:table-row table:number-rows-repeated="{rows}">{cells}</table:table-row>'


def test_every_kind_of_cell_is_read(tmp_path: Path) -> None:
    def cell(kind: str, value: str, shown: str = "", more: str = "") -> str:
        attributes = f'office:value-type="{kind}" {value} {more}'
        return f"<table:table-cell {attributes}><text:p>{shown}</text:p></table:table-cell>"

    cells = [
        cell("float", 'office:value="1.5"', "1,5"),
        cell("percentage", 'office:value="0.25"', "25 %"),
        cell("currency", 'office:value="3" office:currency="EUR"', "3 €"),
        cell("date", 'office:date-value="2024-03-01"', "1.3."),
        cell("date", 'office:date-value="2024-03-01T12:00:00"'),
        cell("time", 'office:time-value="PT06H30M00S"', "06:30"),
        cell("boolean", 'office:boolean-value="true"', "TRUE"),
        cell("string", "", 'a<text:s/><text:s text:c="2"/>b<text:tab/>c <text:span>d</text:span>\n e'),
        cell("string", "", '<text:a xlink:href="#Data.A1">link</text:a></text:p><text:p>second'),
        cell("float", 'office:value="3"', "3", 'table:formula="of:=1+2"'),
        cell("string", 'calcext:value-type="error"', "#DIV/0!", 'table:formula="of:=1/0"'),
        '<table:table-cell table:formula="of:=1"/>',
        '<table:table-cell office:value-type="string">'
        "<office:annotation><text:p>note</text:p></office:annotation><text:p>noted</text:p></table:table-cell>",
        cell("date", 'office:date-value="long ago"', "long ago"),
    ]
    found = open_workbook(make(tmp_path, f"<table:table-row>{''.join(cells)}</table:table-row>")).cells(
        "Data"
    )
    assert [found[1, column] for column in range(1, len(cells) + 1)] == [
        Cell(1.5, "number"),
        Cell(0.25, "percent"),
        Cell(3.0, "number"),
        Cell(45352.0, "moment"),
        Cell(45352.5, "moment"),
        Cell(6.5 / 24, "moment"),
        Cell(True, "bool"),
        Cell("a   b\tc d e", "text"),
        Cell("link\nsecond", "text"),
        Cell(3.0, "number", True),
        Cell("#DIV/0!", "error", True),
        Cell(None, "blank", True),
        Cell("noted", "text"),
        Cell("long ago", "text"),
    ]


def test_a_million_repeated_rows_are_no_burden(tmp_path: Path) -> None:
    blank = repeated(1_000_000, '<table:table-cell table:number-columns-repeated="16384"/>')
    filled = repeated(48_000, number(7, 'table:number-columns-repeated="16384"'))
    path = make(tmp_path, repeated(1, number(1)) + blank + filled)
    start = time.perf_counter()
    book = open_workbook(path)
    assert 16_384 < len(book.cells("Data")) < 150_000
    book.write("Data", 500_000, 300, 5)
    book.write("Data", 1_040_000, 16_384, 6)
    book.save()
    again = open_workbook(path).cells("Data")
    assert again[500_000, 300].value == 5 and again[1, 1].value == 1 and again[1_000_002, 1].value == 7
    assert time.perf_counter() - start < 5
    assert path.stat().st_size < 5000


def test_repeated_cells_are_split_exactly(tmp_path: Path) -> None:
    rows = (
        repeated(3, number(1) + number(2, 'table:number-columns-repeated="4"') + number(3))
        + f"<table:table-header-rows>{repeated(2, number(4))}</table:table-header-rows>"
        + f"<table:table-row-group>{repeated(2, number(5))}</table:table-row-group>"
    )
    path = make(tmp_path, rows)
    before = ods_cells(path)
    old = path.with_name("old.ods")
    old.write_bytes(path.read_bytes())
    book = open_workbook(path)
    written = {
        (2, 3): 20.0,
        (2, 5): 21.0,
        (1, 1): 22.0,
        (3, 9): 23.0,
        (5, 1): 24.0,
        (6, 1): 25.0,
        (9, 2): 26.0,
    }
    for place, value in written.items():
        book.write("Data", *place, value)
    book.save()
    assert changed_members(old, path) == {"content.xml"}
    after = ods_cells(path)
    assert {place: look for place, look in after.items() if place[1:] not in written} == {
        place: look for place, look in before.items() if place[1:] not in written
    }
    assert {place: float(after["Data", *place][1]) for place in written} == written


def test_merged_cells_stay_merged(tmp_path: Path) -> None:
    rows = (
        "<table:table-row>"
        '<table:table-cell table:number-columns-spanned="3" table:number-rows-spanned="2"/>'
        '<table:covered-table-cell table:number-columns-repeated="2"/></table:table-row>'
        '<table:table-row><table:covered-table-cell table:number-columns-repeated="3"/></table:table-row>'
    )
    path = make(tmp_path, rows)
    book = open_workbook(path)
    book.write("Data", 1, 1, "all")
    book.write("Data", 2, 2, 5)
    book.write("Data", 2, 4, 6)
    book.save()
    content = part(path, "content.xml")
    assert content.count("<table:covered-table-cell") == 4
    assert 'number-columns-spanned="3" table:number-rows-spanned="2" office:value-type="string"' in content
    assert {place: c.value for place, c in book.cells("Data").items()} == {
        (1, 1): "all",
        (2, 2): 5.0,
        (2, 4): 6.0,
    }


def test_comments_pictures_and_styles_stay(tmp_path: Path) -> None:
    rows = (
        '<table:table-row><table:table-cell table:style-name="ce1" office:value-type="string">'
        "<office:annotation><dc:creator>me</dc:creator><text:p>a comment</text:p></office:annotation>"
        '<text:p>old</text:p><draw:frame draw:name="dot"/></table:table-cell></table:table-row>'
    )
    path = make(tmp_path, rows)
    for value in ("new\nlines", None, 5.0, datetime(2024, 3, 1, 6), ""):
        book = open_workbook(path)
        book.write("Data", 1, 1, value)
        book.save()
        content = part(path, "content.xml")
        assert 'table:style-name="ce1"' in content and "<text:p>a comment</text:p>" in content
        assert '<draw:frame draw:name="dot"/>' in content and "old" not in content
    assert "value-type" not in content


def test_values_are_consistent(tmp_path: Path) -> None:
    rows = (
        '<table:table-row><table:table-cell office:value-type="percentage" office:value="0.5" '
        'calcext:value-type="percentage"><text:p>50 %</text:p></table:table-cell>'
        '<table:table-cell office:value-type="currency" office:value="1" office:currency="EUR"/>'
        '<table:table-cell office:value-type="string" office:string-value="abc"/>'
        '<table:table-cell office:value-type="date" office:date-value="2024-03-01"/>'
        "<table:table-cell/><table:table-cell/>"
        '<table:table-cell office:value-type="date" office:date-value="2024-03-01"/></table:table-row>'
    )
    path = make(tmp_path, rows)
    book = open_workbook(path)
    book.write("Data", 1, 7, 3e6)  # after the year 9999
    book.write("Data", 1, 1, 0.75)
    book.write("Data", 1, 2, 2)
    book.write("Data", 1, 3, 1.25)
    book.write("Data", 1, 4, 45352.25)
    book.write("Data", 1, 5, datetime(2024, 3, 1))
    book.write("Data", 1, 6, True)
    book.save()
    assert {place[2]: look[:2] for place, look in ods_cells(path).items()} == {
        1: ("percentage", "0.75"),
        2: ("currency", "2"),
        3: ("float", "1.25"),
        4: ("date", "2024-03-01T06:00:00"),
        5: ("date", "2024-03-01"),
        6: ("float", "1"),
        7: ("float", "3000000"),
    }
    content = part(path, "content.xml")
    assert 'office:currency="EUR"' in content and content.count("calcext:value-type") == 7
    assert open_workbook(path).cells("Data") == book.cells("Data")


def test_a_number_of_days_is_the_same_when_it_is_written_again(tmp_path: Path) -> None:
    path = make(tmp_path, '<table:table-row><table:table-cell office:value-type="date"/></table:table-row>')
    for days in (45352 + 1 / 3, 1e-24, 45352.123456789):
        book = open_workbook(path)
        book.write("Data", 1, 1, datetime(2000, 1, 1))
        book.write("Data", 1, 1, days)
        book.save()
        again = open_workbook(path)
        again.write("Data", 1, 1, days)
        assert not again.changed


def test_text_stays_text(tmp_path: Path) -> None:
    path = make(tmp_path, "<table:table-row><table:table-cell/></table:table-row>")
    texts = [
        "=1+1",
        "  two  spaces ",
        "line\n\nbreak",
        "a\tb\t",
        "& <b>",
        "12",
        "é漢🥃",
        " ",
        "   ",
        "a ",
        "\n",
    ]
    book = open_workbook(path)
    for row, text in enumerate(texts, 1):
        book.write("Data", row, 1, text)
    book.write("Data", 20, 1, "a\r\nb\x07\x00")
    book.save()
    seen = ods_cells(path)
    assert [seen["Data", row, 1][:3] for row in range(1, len(texts) + 1)] == [
        ("string", None, text) for text in texts
    ]
    again = open_workbook(path)
    assert [again.cells("Data")[row, 1].value for row in range(1, len(texts) + 1)] == texts
    assert again.cells("Data")[20, 1].value == "a\nb"
    for row, text in enumerate(texts, 1):
        again.write("Data", row, 1, text)
    assert not again.changed


def test_a_blank_cell_is_dressed_like_another_and_may_lie_under_a_merged_one(tmp_path: Path) -> None:
    """What the other shows on a condition, which looks at cells beside it, is not taken over."""
    styles = (
        '<style:style style:name="ce1" style:family="table-cell" style:parent-style-name="Default">'
        '<style:table-cell-properties fo:background-color="#ffeecc" '
        'xmlns:fo="urn:oasis:names:tc:opendocument:xmlns:xsl-fo-compatible:1.0"/>'
        '<style:map style:condition="is-true-formula([.A1]&gt;0)" style:apply-style-name="red"/>'
        "</style:style>"
    )
    merged = '<table:table-cell table:number-columns-spanned="2"/><table:covered-table-cell/>'
    rows = (
        "<table:table-row>" + number(1, 'table:style-name="ce1"') + "</table:table-row>"
        f"<table:table-row>{merged}</table:table-row>"
    )
    guarded = table("").replace('"Data"', '"Guarded" table:protected="true"')
    path = write_ods(tmp_path / "log.ods", table(rows) + guarded, styles)
    book = open_workbook(path)
    book.dress("Data", 3, 2, ("Data", 1, 1))
    book.dress("Data", 3, 3, ("Data", 1, 1))
    assert [book.under_merged("Data", *at) for at in ((2, 1), (2, 2), (2, 3))] == [False, True, False]
    assert [book.protected(sheet) for sheet in ("Data", "Guarded")] == [False, True]
    assert (3, 2) not in book.cells("Data")
    book.save()
    content = part(path, "content.xml")
    dressed = re.findall(r'<table:table-cell table:style-name="(\w+)"', content)[-2:]
    assert dressed[0] == dressed[1] != "ce1"
    style = re.search(rf'<style:style style:name="{dressed[0]}".*?</style:style>', content)
    assert style and "#ffeecc" in style[0] and "style:map" not in style[0]
    assert 'style:name="ce1"' in content and content.count("style:map") == 1


def test_style_of_new_cells(tmp_path: Path) -> None:
    columns = (
        '<table:table-column table:default-cell-style-name="Default"/>'
        '<table:table-column table:default-cell-style-name="ce2"/>'
    )
    rows = (
        "<table:table-row>" + number(1, 'table:style-name="ce1"') + number(1) + "</table:table-row>"
        '<table:table-row table:default-cell-style-name="ce3"><table:table-cell/></table:table-row>'
    )
    path = write_ods(tmp_path / "log.ods", table(rows, columns=columns))
    book = open_workbook(path)
    book.write("Data", 2, 1, 1, like=(1, 1))
    book.write("Data", 3, 1, 1, like=(1, 1))
    book.write("Data", 3, 2, 1, like=(1, 1))
    book.write("Data", 4, 1, 1, like=(1, 2))
    book.write("Data", 5, 1, 1)
    book.save()
    styles = {place[1:]: look[-1] for place, look in ods_cells(path).items()}
    assert styles == {
        (1, 1): "ce1", (1, 2): None, (2, 1): None, (3, 1): "ce1", (3, 2): None, (4, 1): "ce2", (5, 1): None,
    }  # fmt: skip


def test_links(tmp_path: Path) -> None:
    path = make(tmp_path, "<table:table-row><table:table-cell/></table:table-row>", table("", "It's"))
    book = open_workbook(path)
    book.write("Data", 1, 1, "see  there", link=("It's", 7, 28))
    book.save()
    assert "<text:a xlink:href=\"#'It''s'.AB7\" xlink:type=\"simple\">see there</text:a>" in part(
        path, "content.xml"
    )
    book = open_workbook(path)
    book.write("Data", 1, 1, "see there", link=("It's", 7, 28))
    assert not book.changed
    book.write("Data", 1, 1, "see there", link=("Data", 1, 1))
    book.save()
    assert "#'Data'.A1" in part(path, "content.xml")
    book.write("Data", 1, 1, "see there")
    book.save()
    assert "text:a" not in part(path, "content.xml")


def test_a_name_stands_for_another_cell_in_the_next_workbook(tmp_path: Path) -> None:
    row = (
        '<table:table-row><table:table-cell table:number-columns-repeated="3"/><table:table-cell '
        'table:formula="of:=rate*2" office:value-type="float" office:value="2"/></table:table-row>'
    )
    for column in "AB":
        name = f'<table:named-range table:name="rate" table:cell-range-address="$Data.${column}$1"/>'
        names = f"<table:named-expressions>{name}</table:named-expressions>"
        book = open_workbook(write_ods(tmp_path / f"{column}.ods", table(row) + names))
        book.write("Data", 1, 2, 5)
        book.save()
        assert book.cells("Data")[1, 4].kind == ("blank" if column == "B" else "number")


def test_sheets_and_names(tmp_path: Path) -> None:
    def name(key: str, address: str) -> str:
        return f'<table:named-range table:name="{key}" table:cell-range-address="{address}"/>'

    local = f"<table:named-expressions>{name('one', '$Data.$C$3')}</table:named-expressions>"
    row = "<table:table-row><table:table-cell/></table:table-row>"
    names = (
        name("one", "$Data.$B$2")
        + name("quoted", "$'It''s a.b'.$AA$10")
        + name("block", "$Data.$B$2:.$C$3")
        + name("single_block", "$Data.$B$2:$Data.$B$2")
        + name("lost", "$Data.#REF!$2")
        + name("gone", "$#REF!.$A$1")
        + name("elsewhere", "$Nowhere.$A$1")
        + '<table:named-expression table:name="cell" table:expression="of:=[$Data.$D$4]"/>'
        + '<table:named-expression table:name="constant" table:expression="of:=5"/>'
    )
    path = write_ods(
        tmp_path / "log.ods",
        table(row + local)
        + table(row, "It's a.b")
        + table(row, "Hidden").replace("<table:table ", '<table:table table:style-name="ta2" ')
        + f"<table:named-expressions>{names}</table:named-expressions>",
        '<style:style style:name="ta2" style:family="table">'
        '<style:table-properties table:display="false"/></style:style>',
    )
    book = open_workbook(path)
    assert book.sheets == ["Data", "It's a.b"]
    assert book.names == {
        "one": ("Data", 2, 2),
        "quoted": ("It's a.b", 10, 27),
        "single_block": ("Data", 2, 2),
        "cell": ("Data", 4, 4),
    }


def test_formulas_are_not_overwritten(tmp_path: Path) -> None:
    matrix = (
        '<table:table-row><table:table-cell table:formula="of:=[.B1:.B2]" '
        'table:number-matrix-rows-spanned="2" table:number-matrix-columns-spanned="1" '
        'office:value-type="float" office:value="1"/></table:table-row>'
        f"<table:table-row>{number(2)}</table:table-row>"
    )
    book = open_workbook(make(tmp_path, matrix))
    for row in (1, 2):
        with pytest.raises(ValueError, match="formula"):
            book.write("Data", row, 1, 5)


def test_all_results_of_a_matrix_formula_are_forgotten(tmp_path: Path) -> None:
    rows = (
        f"<table:table-row>{number(1)}"
        '<table:table-cell table:formula="of:=[.A1:.A3]*2" table:number-matrix-rows-spanned="3" '
        'table:number-matrix-columns-spanned="1" office:value-type="float" office:value="2">'
        f"<text:p>2</text:p></table:table-cell></table:table-row>{repeated(4, number(1) + number(2))}"
    )
    path = make(tmp_path, rows)
    book = open_workbook(path)
    book.write("Data", 2, 1, 5)
    book.save()
    assert {place: look[1] for place, look in ods_cells(path).items()} == {
        **{("Data", row, 1): "1" if row != 2 else "5" for row in (1, 2, 3, 4, 5)},
        ("Data", 1, 2): None,
        ("Data", 4, 2): "2",
        ("Data", 5, 2): "2",
    }
    assert book.cells("Data") == open_workbook(path).cells("Data") | {
        (row, 2): Cell(None, "blank", True) for row in (2, 3)
    }


def test_senseless_repeats_are_refused(tmp_path: Path) -> None:
    for repeats in ("0", "-1", "x", "99999999999"):
        path = make(tmp_path, f'<table:table-row table:number-rows-repeated="{repeats}"/>')
        with pytest.raises(BadWorkbook):
            open_workbook(path).cells("Data")


def test_files_without_extensions(tmp_path: Path) -> None:
    path = make(tmp_path, repeated(1, number(1)))
    plain = {
        "content.xml": lambda content: content.replace(b' calcext:value-type="float"', b"").replace(
            b' xmlns:calcext="urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0"', b""
        )
    }
    path = with_parts(path, tmp_path / "plain.ods", plain)
    book = open_workbook(path)
    book.write("Data", 1, 1, 2)
    book.save()
    assert "calcext" not in part(path, "content.xml")
