"""Cells of Excel workbooks read and written in place."""

import re
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from files.workbook_samples import changed_members, part, with_parts, write_xlsx, xlsx_cells
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from sheetcalc.files import BadWorkbook, Cell, open_workbook

SHEET = "xl/worksheets/sheet1.xml"


def make(tmp_path: Path, fill: Callable[[Any, Any], None]) -> Path:
    return write_xlsx(tmp_path / "log.xlsx", fill)


def from_xml(tmp_path: Path, rows: str, after: str = "", before: str = "") -> Path:
    """A workbook whose sheet "Data" has just this XML around and in its sheetData."""
    source = make(tmp_path, lambda book, sheet: None)

    def replace(content: bytes) -> bytes:
        text = content.decode()
        return re.sub(
            r"<dimension.*<sheetData/>(.*)",
            lambda match: f"{before}<sheetData>{rows}</sheetData>{after}{match[1]}",
            text,
            flags=re.DOTALL,
        ).encode()

    return with_parts(source, tmp_path / "made.xlsx", {SHEET: replace})


def test_every_kind_of_cell_is_read(tmp_path: Path) -> None:
    def fill(book: Any, sheet: Any) -> None:
        sheet.write("A1", 1.5)
        sheet.write("A2", 0.25, book.add_format({"num_format": "0.0%"}))
        sheet.write("A3", 45000.5, book.add_format({"num_format": "yyyy-mm-dd hh:mm"}))
        sheet.write("A4", 45000, book.add_format({"num_format": 14}))
        sheet.write("A5", 3, book.add_format({"num_format": '0.0 "days"'}))
        sheet.write("A6", 0.5, book.add_format({"num_format": "[h]:mm"}))
        sheet.write("A7", 3, book.add_format({"num_format": "[Red]0.0;[Blue]-0.0"}))
        sheet.write("B1", "text")
        sheet.write_boolean("B2", True)
        sheet.write_rich_string("B3", "a ", book.add_format({"bold": True}), "bold", " word")
        sheet.write_formula("C1", "=A1*2", None, 3)
        sheet.write_formula("C2", '="a"', None, "a")
        sheet.write_formula("C3", "=1/0", None, "#DIV/0!")
        sheet.write_formula("C4", '=""', None, "")
        sheet.write_blank("D1", None, book.add_format({"bold": True}))

    cells = open_workbook(make(tmp_path, fill)).cells("Data")
    assert cells == {
        (1, 1): Cell(1.5, "number"),
        (2, 1): Cell(0.25, "percent"),
        (3, 1): Cell(45000.5, "moment"),
        (4, 1): Cell(45000.0, "moment"),
        (5, 1): Cell(3.0, "number"),
        (6, 1): Cell(0.5, "moment"),
        (7, 1): Cell(3.0, "number"),
        (1, 2): Cell("text", "text"),
        (2, 2): Cell(True, "bool"),
        (3, 2): Cell("a bold word", "text"),
        (1, 3): Cell(3.0, "number", True),
        (2, 3): Cell("a", "text", True),
        (3, 3): Cell("#DIV/0!", "error", True),
        (4, 3): Cell(None, "blank", True),
    }


def test_inline_strings_phonetics_escapes_and_iso_dates(tmp_path: Path) -> None:
    path = from_xml(
        tmp_path,
        '<row r="1"><c r="A1" t="inlineStr"><is><t>a_x000D_b_x005F_x0041_</t></is></c>'
        '<c r="B1" t="inlineStr"><is><r><t>漢</t></r><r><t>字</t></r>'
        '<rPh sb="0" eb="1"><t>カン</t></rPh></is></c>'
        '<c r="C1" t="d"><v>2024-03-01T12:00:00</v></c><c r="D1" t="d"><v>2024-03-01</v></c>'
        '<c r="E1"><f>A1</f></c><c r="F1" t="s"><v>99</v></c></row>',
    )
    cells = open_workbook(path).cells("Data")
    assert [cells[1, column].value for column in range(1, 5)] == ["a\rb_x0041_", "漢字", 45352.5, 45352.0]
    assert cells[1, 5] == Cell(None, "blank", True)


def test_dates_since_1904(tmp_path: Path) -> None:
    path = tmp_path / "mac.xlsx"
    book = openpyxl.Workbook()
    book.epoch = CALENDAR_MAC_1904
    sheet = book.active
    assert sheet is not None
    sheet.title = "Data"
    sheet["A1"] = sheet["A2"] = datetime(2024, 3, 1)
    book.save(path)
    edited = open_workbook(path)
    assert edited.cells("Data")[1, 1] == Cell(45352.0, "moment")
    edited.write("Data", 1, 1, datetime(2024, 3, 1))
    assert not edited.changed
    edited.write("Data", 1, 1, datetime(2024, 3, 2, 6))
    edited.write("Data", 2, 1, 45353.25)
    edited.save()
    seen = openpyxl.load_workbook(path)["Data"]
    assert seen["A1"].value == seen["A2"].value == datetime(2024, 3, 2, 6)
    assert edited.cells("Data")[1, 1] == Cell(45353.25, "moment")


def test_only_the_named_cells_change(tmp_path: Path) -> None:
    def fill(book: Any, sheet: Any) -> None:
        bold = book.add_format({"bold": True, "num_format": "0.00"})
        for row in range(4):
            sheet.write_row(row, 1, [row, f"text {row}", row / 3], bold)
        sheet.write_rich_string("H1", "rich ", bold, "text")
        sheet.merge_range("H3:I4", "merged", bold)
        sheet.write_comment("C2", "a comment")
        sheet.write_url("C1", "https://example.org", string="text 0")
        sheet.write_array_formula("J1:J2", "{=B1:B2}", None, 0)
        sheet.write("J2", 1)
        sheet.data_validation("B1:B9", {"validate": "list", "source": ["a", "b"]})
        sheet.conditional_format("B1:B9", {"type": "cell", "criteria": ">", "value": 1, "format": bold})
        sheet.add_table("L1:M3", {"data": [[1, 2], [3, 4]]})
        book.add_worksheet("More").write("A1", "more")

    path = make(tmp_path, fill)
    before, untouched = xlsx_cells(path), path.read_bytes()
    book = open_workbook(path)
    book.write("Data", 2, 3, "new")
    book.write("Data", 2, 2, 2.5)
    book.write("Data", 4, 3, None)
    book.write("Data", 3, 8, "fused")
    book.write("Data", 9, 30, "far")
    book.save()
    after = xlsx_cells(path)
    expected = dict(before)
    for place, value in {(2, 3): "new", (2, 2): 2.5, (4, 3): None, (3, 8): "fused"}.items():
        expected["Data", *place] = (value, *before["Data", *place][1:])
    # The array formula looks at B2: its result in J2 is forgotten with that in J1.
    del expected["Data", 2, 10]
    expected["Data", 9, 30] = ("far", "General", False, "00000000", None, None)
    assert after == expected
    (tmp_path / "old.xlsx").write_bytes(untouched)
    assert changed_members(tmp_path / "old.xlsx", path) == {SHEET, "xl/workbook.xml"} - (
        {"xl/workbook.xml"} if "fullCalcOnLoad" in part(tmp_path / "old.xlsx", "xl/workbook.xml") else set()
    )


def test_text_stays_text(tmp_path: Path) -> None:
    path = make(tmp_path, lambda book, sheet: sheet.write("A1", 1))
    texts = [
        "=1+1",
        "  two  spaces ",
        "line\nbreak",
        "a\tb",
        "_x0041_ & <b>",
        "12",
        "é漢🥃",
        "+4",
        "x" * 32_767,
    ]
    book = open_workbook(path)
    for row, text in enumerate(texts, 1):
        book.write("Data", row, 1, text)
    book.write("Data", 20, 1, "a\r\nb\x07\x00")
    book.save()
    seen = openpyxl.load_workbook(path)["Data"]
    # openpyxl does not decode escapes of this kind
    assert [seen.cell(row, 1).value for row in range(1, 10)] == [
        text.replace("_x0041_", "_x005F_x0041_") for text in texts
    ]
    assert {seen.cell(row, 1).data_type for row in range(2, 10)} == {"s"}
    again = open_workbook(path)
    assert [again.cells("Data")[row, 1].value for row in range(1, 10)] == texts
    assert again.cells("Data")[20, 1].value == "a\nb"
    for row, text in enumerate(texts, 1):
        again.write("Data", row, 1, text)
    again.write("Data", 20, 1, "a\r\nb\x07\x00")
    assert not again.changed


def test_what_cannot_be_written(tmp_path: Path) -> None:
    def fill(book: Any, sheet: Any) -> None:
        sheet.write_formula("A1", "=1")
        sheet.write_array_formula("B1:B3", "{=A1:A3}")

    book = open_workbook(make(tmp_path, fill))
    for place, value in [
        ((1, 1), 5.0), ((1, 1), None), ((2, 2), 1.0), ((5, 5), float("nan")), ((5, 5), float("inf")),
        ((0, 1), 1.0), ((1, 16_385), 1.0), ((1_048_577, 1), 1.0), ((5, 5), "x" * 32_768),
    ]:  # fmt: skip
        with pytest.raises(ValueError):
            book.write("Data", *place, value)
    with pytest.raises(KeyError):
        book.write("No such sheet", 1, 1, 1.0)
    assert not book.changed


def test_cells_that_only_an_array_formula_names_are_not_overwritten(tmp_path: Path) -> None:
    path = from_xml(tmp_path, '<row r="1"><c r="B1"><f t="array" ref="B1:C3">A1:A3*2</f><v>2</v></c></row>')
    book = open_workbook(path)
    for place in ((1, 2), (1, 3), (3, 2), (3, 3)):
        with pytest.raises(ValueError, match="formula"):
            book.write("Data", *place, 5)
    book.write("Data", 4, 2, 5)
    book.write("Data", 3, 4, 5)


def test_clearing_and_filling_keep_the_style(tmp_path: Path) -> None:
    path = make(tmp_path, lambda b, s: s.write("B2", 3, b.add_format({"bold": True, "num_format": "0.0"})))
    for value in (None, "text", None, 4.0, ""):
        book = open_workbook(path)
        book.write("Data", 2, 2, value)
        book.save()
        cell = openpyxl.load_workbook(path)["Data"]["B2"]
        assert (cell.value, cell.font.b, cell.number_format) == (value or None, True, "0.0")


def test_style_of_new_cells(tmp_path: Path) -> None:
    def fill(book: Any, sheet: Any) -> None:
        sheet.set_column("C:C", None, book.add_format({"num_format": "0.000"}))
        sheet.set_row(4, None, book.add_format({"num_format": "0.0"}))
        sheet.write("B2", 1, book.add_format({"num_format": "0.00", "bold": True}))
        sheet.write("B3", 1)
        sheet.write("D3", 1, book.add_format({"italic": True}))

    path = make(tmp_path, fill)
    book = open_workbook(path)
    for place in ((3, 2), (9, 2), (9, 3), (5, 2), (3, 4)):
        book.write("Data", *place, 2, like=(2, 2))
    book.write("Data", 10, 2, 2)
    book.write("Data", 10, 3, 2)
    book.write("Data", 11, 2, 2, like=(9, 3))
    book.save()
    seen = openpyxl.load_workbook(path)["Data"]
    formats = {name: seen[name].number_format for name in ("B3", "B9", "C9", "B5", "D3", "B10", "C10", "B11")}
    assert formats == {
        "B3": "0.00", "B9": "0.00", "C9": "0.000", "B5": "0.0", "D3": "General",
        "B10": "General", "C10": "0.000", "B11": "0.000",
    }  # fmt: skip


def test_a_blank_cell_is_dressed_like_another_and_may_lie_under_a_merged_one(tmp_path: Path) -> None:
    def fill(book: Any, sheet: Any) -> None:
        sheet.write("A1", 1, book.add_format({"num_format": "0.00"}))
        sheet.write("A2", 1, book.add_format({"num_format": "0.0"}))
        sheet.merge_range("B3:C4", "merged")
        guarded = book.add_worksheet("Guarded")
        guarded.protect()

    path = make(tmp_path, fill)
    book = open_workbook(path)
    book.dress("Data", 6, 2, ("Data", 1, 1))
    book.dress("Guarded", 2, 5, ("Data", 1, 1))
    book.dress("Data", 2, 1, ("Data", 1, 1))
    assert (6, 2) not in book.cells("Data")
    assert [book.under_merged("Data", *at) for at in ((3, 2), (4, 2), (4, 3), (5, 3))] == [
        *(False, True, True, False),
    ]
    assert [book.protected(sheet) for sheet in ("Data", "Guarded")] == [False, True]
    book.save()
    seen = openpyxl.load_workbook(path)
    assert [seen["Data"]["B6"].number_format, seen["Guarded"]["E2"].number_format] == ["0.00", "0.00"]
    assert seen["Data"]["A2"].number_format == "0.0"


def test_rows_and_cells_are_inserted_in_order(tmp_path: Path) -> None:
    path = from_xml(
        tmp_path,
        '<row r="3" spans="2:4"><c r="B3"><v>1</v></c><c r="D3"><v>2</v></c></row>'
        '<row r="7"><c r="A7"><v>3</v></c></row>',
        before='<dimension ref="A3:D7"/>',
    )
    book = open_workbook(path)
    for place in ((3, 3), (3, 1), (3, 26), (3, 27), (5, 2), (1, 1), (9, 30), (9, 2)):
        book.write("Data", *place, 0.5)
    book.save()
    xml = part(path, SHEET)
    assert re.findall(r'<row r="(\d+)"', xml) == ["1", "3", "5", "7", "9"]
    names = ["A1", "A3", "B3", "C3", "D3", "Z3", "AA3", "B5", "A7", "B9", "AD9"]
    assert re.findall(r'<c r="(\w+)"', xml) == names
    assert 'ref="A1:AD9"' in xml and "spans" not in xml


def test_cells_without_names(tmp_path: Path) -> None:
    path = from_xml(tmp_path, "<row><c><v>1</v></c><c><v>2</v></c></row><row/><row><c><v>3</v></c></row>")
    book = open_workbook(path)
    assert [book.cells("Data")[place].value for place in ((1, 1), (1, 2), (3, 1))] == [1, 2, 3]
    book.write("Data", 1, 1, 10)
    book.write("Data", 1, 4, 4)
    book.write("Data", 5, 1, 5)
    book.save()
    seen = openpyxl.load_workbook(path)["Data"]
    assert {c.coordinate: c.value for row in seen for c in row if c.value} == {
        "A1": 10, "B1": 2, "D1": 4, "A3": 3, "A5": 5,
    }  # fmt: skip


def linked(path: Path) -> dict[str, tuple[str | None, str | None]]:
    cells = [cell for row in openpyxl.load_workbook(path)["Data"] for cell in row]
    return {cell.coordinate: (link.location, link.target) for cell in cells if (link := cell.hyperlink)}


def test_links(tmp_path: Path) -> None:
    def fill(book: Any, sheet: Any) -> None:
        book.add_worksheet("It's more")
        sheet.write("A1", 1)
        sheet.conditional_format("A1", {"type": "data_bar"})
        sheet.data_validation("A1", {"validate": "any", "input_title": "x"})
        sheet.write_url("A3", "https://example.org", string="out")
        sheet.write_url("A4", "internal:Data!A1", string="in")
        sheet.set_header("&Cheader")

    path = make(tmp_path, fill)
    book = open_workbook(path)
    book.write("Data", 2, 1, "see", link=("It's more", 7, 28))
    book.write("Data", 3, 1, "out")
    book.write("Data", 4, 1, "in", link=("Data", 1, 1))
    book.save()
    assert linked(path) == {
        "A2": ("'It''s more'!AB7", None),
        "A3": (None, "https://example.org"),
        "A4": ("Data!A1", None),
    }
    order = [re.sub(r".*[{}:]", "", tag) for tag in re.findall(r"<(\w+)", part(path, SHEET))]
    children = [
        t
        for t in order
        if t
        in (
            "sheetData",
            "conditionalFormatting",
            "dataValidations",
            "hyperlinks",
            "pageMargins",
            "headerFooter",
        )
    ]
    assert children == [
        "sheetData",
        "conditionalFormatting",
        "dataValidations",
        "hyperlinks",
        "pageMargins",
        "headerFooter",
    ]
    book = open_workbook(path)
    book.write("Data", 2, 1, "see", link=("It's more", 7, 28))
    assert not book.changed
    book.write("Data", 2, 1, "see", link=("Data", 1, 1))
    book.write("Data", 3, 1, "in now", link=("Data", 2, 2))
    book.write("Data", 4, 1, "in")
    book.save()
    assert linked(path) == {"A2": ("'Data'!A1", None), "A3": ("'Data'!B2", None)}
    book.write("Data", 2, 1, None, link=("Data", 1, 1))
    book.write("Data", 3, 1, "none")
    book.save()
    assert "hyperlink" not in part(path, SHEET)


def test_sheets_and_names(tmp_path: Path) -> None:
    def fill(book: Any, sheet: Any) -> None:
        sheet.write("A1", 1)
        book.add_worksheet("Hidden").hide()
        book.add_chartsheet("Picture")
        book.add_worksheet("It's")
        for name, target in {
            "one": "=Data!$B$2", "quoted": "='It''s'!$AA$10", "hidden_one": "=Hidden!$A$1",
            "block": "=Data!$B$2:$C$3", "single_block": "=Data!$B$2:$B$2", "lost": "=Data!#REF!",
            "gone": "=#REF!$A$1", "constant": "=5", "column_name": "=Data!$B:$B", "Data!local": "=Data!$A$1",
            "Data!one": "=Data!$C$3",
        }.items():  # fmt: skip
            book.define_name(name, target)

    book = open_workbook(make(tmp_path, fill))
    assert book.sheets == ["Data", "It's"]
    assert book.names == {
        "one": ("Data", 2, 2),
        "quoted": ("It's", 10, 27),
        "hidden_one": ("Hidden", 1, 1),
        "single_block": ("Data", 2, 2),
    }


def test_workbook_is_computed_on_opening_only_with_formulas(tmp_path: Path) -> None:
    def bare(content: bytes) -> bytes:
        return re.sub(rb"<calcPr[^>]*>", b"", content)

    def plain(book: Any, sheet: Any) -> None:
        sheet.write("A1", 1)

    def computing(book: Any, sheet: Any) -> None:
        sheet.write_formula("A1", "=B1*2", None, 4)

    for fill, asked in ((plain, False), (computing, True)):
        source = make(tmp_path, fill)
        path = with_parts(source, tmp_path / "bare.xlsx", {"xl/workbook.xml": bare})
        book = open_workbook(path)
        book.write("Data", 1, 2, 5)
        book.save()
        assert ('<calcPr fullCalcOnLoad="1"/>' in part(path, "xl/workbook.xml")) is asked


@pytest.mark.parametrize("strict", [False, True])
def test_prefixed_and_strict_files(tmp_path: Path, strict: bool) -> None:
    def prefixed(content: bytes) -> bytes:
        text = re.sub(r"<(/?)(?=[a-zA-Z])", r"<\1x:", content.decode()).replace(" xmlns=", " xmlns:x=")
        if strict:
            text = text.replace("http://schemas.openxmlformats.org/", "http://purl.oclc.org/ooxml/")
            text = text.replace("/2006/main", "/main").replace("/2006/relationships", "/relationships")
        return text.encode()

    def fill(book: Any, sheet: Any) -> None:
        sheet.write("A1", 1)
        sheet.write_formula("B1", "=A1", None, 1)

    source = make(tmp_path, fill)
    parts = [SHEET, "xl/workbook.xml", "xl/styles.xml"]
    path = with_parts(source, tmp_path / "odd.xlsx", dict.fromkeys(parts, prefixed))
    book = open_workbook(path)
    assert book.cells("Data")[1, 1].value == 1
    book.write("Data", 1, 1, "two", link=("Data", 3, 3))
    book.write("Data", 4, 4, 4)
    book.save()
    again = open_workbook(path).cells("Data")
    assert again == {
        (1, 1): Cell("two", "text"),
        (1, 2): Cell(None, "blank", True),
        (4, 4): Cell(4.0, "number"),
    }
    xml = part(path, SHEET)
    assert "<x:hyperlink " in xml and "<x:t>two" in xml and "ns0" not in xml
    if not strict:
        assert openpyxl.load_workbook(path)["Data"]["D4"].value == 4


@pytest.mark.parametrize("holder", [1, 2, 3])
def test_shared_formulas_depend_by_their_distance(tmp_path: Path, holder: int) -> None:
    """In whichever of the cells the text of the formula stands."""
    texts = {row: f'<f t="shared" ref="B1:B3" si="0">A{row}*2</f>' for row in (holder,)}
    path = from_xml(
        tmp_path,
        "".join(
            f'<row r="{row}"><c r="A{row}"><v>1</v></c>'
            f'<c r="B{row}">{texts.get(row, """<f t="shared" si="0"/>""")}<v>2</v></c></row>'
            for row in (1, 2, 3)
        ),
    )
    book = open_workbook(path)
    book.write("Data", 2, 1, 5)
    book.save()
    assert [book.cells("Data")[row, 2].value for row in (1, 2, 3)] == [2.0, None, 2.0]
    assert len(re.findall("<v>2</v>", part(path, SHEET))) == 2


def utf16(content: bytes) -> bytes:
    return content.decode().replace("UTF-8", "UTF-16").encode("utf-16")


def prefixed_oddly(content: bytes) -> bytes:
    text = re.sub(r"<(/?)(?=[a-zA-Z])", r"<\1a-1.é:", content.decode())
    return text.replace(" xmlns=", " xmlns:a-1.é=", 1).encode()


@pytest.mark.parametrize("spell", [utf16, prefixed_oddly])
def test_formulas_are_found_however_their_sheet_is_written(
    tmp_path: Path, spell: Callable[[bytes], bytes]
) -> None:
    def fill(book: Any, sheet: Any) -> None:
        sheet.write("A1", 1)
        book.add_worksheet("More").write_formula("B2", "=Data!A1*2", None, 2)

    path = with_parts(make(tmp_path, fill), tmp_path / "odd.xlsx", {"xl/worksheets/sheet2.xml": spell})
    book = open_workbook(path)
    book.write("Data", 1, 1, 5)
    book.save()
    assert open_workbook(path).cells("More")[2, 2] == Cell(None, "blank", True)
    assert openpyxl.load_workbook(path)["More"]["B2"].value == "=Data!A1*2"


def test_a_name_stands_for_another_cell_in_the_next_workbook(tmp_path: Path) -> None:
    def fill(book: Any, sheet: Any) -> None:
        book.define_name("rate", f"=Data!${column}$1")
        sheet.write_formula("D1", "=rate*2", None, 2)

    for column in "AB":
        book = open_workbook(make(tmp_path, fill))
        book.write("Data", 1, 2, 5)
        book.save()
        assert book.cells("Data")[1, 4].kind == ("blank" if column == "B" else "number")


def test_a_copy_saved_first_takes_nothing_from_the_file_itself(tmp_path: Path) -> None:
    def fill(book: Any, sheet: Any) -> None:
        sheet.write("A1", 1)
        sheet.write_formula("B1", "=A1", None, 1)

    def bare(content: bytes) -> bytes:
        return re.sub(rb"<calcPr[^>]*>", b"", content)

    path = with_parts(make(tmp_path, fill), tmp_path / "bare.xlsx", {"xl/workbook.xml": bare})
    book = open_workbook(path)
    book.write("Data", 1, 1, 5)
    book.save(tmp_path / "copy.xlsx")
    book.save()
    assert path.read_bytes() == (tmp_path / "copy.xlsx").read_bytes()
    assert "fullCalcOnLoad" in part(path, "xl/workbook.xml")


def test_rows_that_only_their_cells_tell(tmp_path: Path) -> None:
    path = from_xml(tmp_path, '<row><c r="B7"><v>1</v></c></row><row/><row><c r="A9"><v>2</v></c></row>')
    book = open_workbook(path)
    assert book.cells("Data") == {(7, 2): Cell(1.0, "number"), (9, 1): Cell(2.0, "number")}
    book.write("Data", 7, 2, 3)
    book.write("Data", 8, 1, 4)
    book.write("Data", 1, 1, 5)
    book.save()
    seen = openpyxl.load_workbook(path)["Data"]
    assert {c.coordinate: c.value for row in seen for c in row if c.value} == {
        "A1": 5, "B7": 3, "A8": 4, "A9": 2,
    }  # fmt: skip


def test_senseless_positions_are_refused(tmp_path: Path) -> None:
    for rows in (
        '<row r="0"/>',
        '<row r="x"/>',
        '<row r="1"><c r="1A"/></row>',
        '<row r="1"><c r="ZZZ1"/></row>',
    ):
        with pytest.raises(BadWorkbook):
            open_workbook(from_xml(tmp_path, rows)).cells("Data")
