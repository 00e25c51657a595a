"""Which cells formulas look at, and which formulas depend on changed cells."""

import time

import pytest

from sheetcalc.files.references import (
    Area,
    Formula,
    Reader,
    area_of,
    cell_name,
    column_letters,
    column_number,
    dependants,
    excel_cell,
    named_areas,
    open_document_cell,
    whole,
)

SHEETS = ["Data", "Other", "It's", "2024", "Ünï"]
NAMES = {"start": [Area("Data", 1, 1, 1, 1)], "jars": [Area("Other", 1, 1, 9, 3)]}

EVERYTHING = {"!A1:XFD*"}


@pytest.fixture
def reader() -> Reader:
    return Reader(SHEETS, lambda name, sheet: NAMES.get(name.casefold()))


def spots(areas: list[Area]) -> set[str]:
    return {
        f"{a.sheet}!{cell_name(a.top, a.left)}:{cell_name(a.bottom, a.right)}".replace("1048576", "*")
        for a in areas
    }


@pytest.mark.parametrize(
    ("formula", "expected"),
    [
        ("A1+$B$2", {"Data!A1:A1", "Data!B2:B2"}),
        ("SUM(A1:B3)*2", {"Data!A1:B3"}),
        ("Other!A1&'It''s'!B2", {"Other!A1:A1", "It's!B2:B2"}),
        ("'2024'!A1+Ünï!C3", {"2024!A1:A1", "Ünï!C3:C3"}),
        ("other!a1", {"Other!A1:A1"}),
        ("SUM(A:B)+SUM($2:3)", {"Data!A1:B*", "Data!A2:XFD3"}),
        ("SUM(Data:'It''s'!A1)", {"It's!A1:A1"}),
        ("SUM('Data:It''s'!A1)", {"Data!A1:A1", "Other!A1:A1", "It's!A1:A1"}),
        ("SUM(Data:Other!A1)", {"Data!A1:A1", "Other!A1:A1"}),
        ('"A1"&"say ""B2"""', set()),
        ("LOG10(5)+ATAN2(1,2)", set()),
        ("[1]Data!A1+'[2]Other'!B1", set()),
        ("Missing!A1", set()),
        ("start+jars", {"Data!A1:A1", "Other!A1:C9"}),
        ("SUM(jars[amount])+jars[[#This Row],[a b]]", {"Other!A1:C9"}),
        ("[@amount]*2", {"Data!A1:XFD*"}),
        ('INDIRECT(A1&"!A1")', {"Data!A1:A1", *EVERYTHING}),
        ("OFFSET(jars,1,0)", {"Other!A1:C9", "Other!A1:XFD*", "Data!A1:XFD*"}),
        ('"OFFSET("&Other!B2', {"Other!B2:B2"}),
        ("SUM(A1:start)+SUM(start:B9)", {"Data!A1:A1", "Data!B9:B9", "Data!A1:XFD*"}),
        ("SUM(jars:Other!Z9)", {"Other!Z9:Z9", "Other!A1:XFD*", "Data!A1:XFD*"}),
        ("SUM(A1:INDEX(B1:B9,2))", {"Data!A1:A1", "Data!B1:B9", "Data!A1:XFD*"}),
        ("A1#", {"Data!A1:A1"}),
        ("A1:A2 B1", {"Data!A1:A2", "Data!B1:B1"}),
        ("XFE1+A1048577+A0", set()),
    ],
)
def test_excel_formulas(reader: Reader, formula: str, expected: set[str]) -> None:
    assert spots(reader.excel(formula, "Data")) == expected


@pytest.mark.parametrize(
    ("formula", "expected"),
    [
        ("of:=[.A1]+[.$B$2]", {"Data!A1:A1", "Data!B2:B2"}),
        ("of:=SUM([.A1:.B3])", {"Data!A1:B3"}),
        ("of:=[$Other.A1]&[$'It''s'.B2]", {"Other!A1:A1", "It's!B2:B2"}),
        ("of:=SUM([.A:.B])+SUM([.2:.3])", {"Data!A1:B*", "Data!A2:XFD3"}),
        ("of:=SUM([$Data.A1:$'It''s'.A1])", {"Data!A1:A1", "Other!A1:A1", "It's!A1:A1"}),
        ('of:="[.A1]"', set()),
        ("of:=['file:///a.ods'#$Data.A1]", set()),
        ("of:=[.#REF!]+[$Missing.A1]", set()),
        ("of:=start*2", {"Data!A1:A1"}),
        ('of:=INDIRECT("Other.A"&1)', EVERYTHING),
        ("of:=SUM([.A1]:start)", {"Data!A1:A1", "Data!A1:XFD*"}),
        ("of:=SUM(start:[.B9])", {"Data!A1:A1", "Data!B9:B9", "Data!A1:XFD*"}),
        ("msoxl:=Other!A1+start", {"Other!A1:A1", "Data!A1:A1"}),
    ],
)
def test_open_document_formulas(reader: Reader, formula: str, expected: set[str]) -> None:
    assert spots(reader.open_document(formula, "Data")) == expected


def test_shifted_formulas(reader: Reader) -> None:
    assert spots(reader.excel("A1+$A1+A$1+$A$1+Other!A1", "Data", (2, 3))) == {
        "Data!D3:D3", "Data!A3:A3", "Data!D1:D1", "Data!A1:A1", "Other!D3:D3",
    }  # fmt: skip
    assert reader.excel("A2", "Data", (-3, 0)) == [whole("Data")]


def test_what_is_known_of_a_formula_serves_only_where_it_means_the_same() -> None:
    for column in (1, 2, 1):
        here = f"Data!{column_letters(column)}1:{column_letters(column)}1"
        names = named_areas(lambda *_: "any", lambda *_, at=column: [Area("Data", 1, at, 1, at)])
        reader = Reader(SHEETS, names, meanings=column)
        assert spots(reader.excel("start+C3", "Data")) == {here, "Data!C3:C3"}
        assert spots(reader.excel("start+C3", "Other")) == {here, "Other!C3:C3"}
        assert spots(reader.excel("start+C3", "Data", (1, 1))) == {here, "Data!D4:D4"}


def test_one_text_is_read_by_each_grammar_of_a_document() -> None:
    reader = Reader(SHEETS, lambda *_: None, meanings="none")
    for _ in range(2):
        assert spots(reader.open_document("of:=B2", "Data")) == set()
        assert spots(reader.open_document("msoxl:=B2", "Data")) == {"Data!B2:B2"}


def test_names_that_denote_another_cell_for_each_formula() -> None:
    inside = Reader(SHEETS, lambda name, sheet: None, fixed=False)
    assert spots(inside.excel("Data!$A$1+Other!$B:$C", "Data")) == {"Data!A1:A1", "Other!B1:C*"}
    for text in ("Data!A1", "Data!$A1", "Data!A$1", "Data!$A$1:A$9", "Data!A:$B"):
        assert spots(inside.excel(text, "Other")) == {"Data!A1:XFD*"}
    assert spots(inside.open_document("[$Data.$A$1:.$B$2]", "Other")) == {"Data!A1:B2"}
    assert spots(inside.open_document("[$Data.$A1]", "Other")) == {"Data!A1:XFD*"}


def test_single_cells() -> None:
    assert excel_cell("'It''s'!$A$1") == ("It's", 1, 1)
    assert excel_cell("Data!$A$1:$A$1") == ("Data", 1, 1)
    assert open_document_cell("$'It''s'.$XFD$1048576") == ("It's", 1_048_576, 16_384)
    for text in (
        "Data!$A$1:$A$2",
        "Data!#REF!",
        "#REF!$A$1",
        "5",
        "Data!$A:$A",
        "[1]Data!A1",
        "Data!A1,Data!B1",
    ):
        assert excel_cell(text) is None
    for text in ("$Data.$A$1:.$A$2", "$Data.#REF!", "$#REF!.$A$1", ".A1", "5"):
        assert open_document_cell(text) is None


def test_names_of_columns() -> None:
    for number in (1, 26, 27, 702, 703, 16_384):
        assert column_number(cell_name(1, number).rstrip("1")) == number
    assert area_of("Data", "B2:A1") == Area("Data", 1, 1, 2, 2)


def test_long_chains_and_many_blocks_take_little_time() -> None:
    def formula(row: int, column: int, *areas: Area) -> Formula:
        return Formula(("Data", row, column), Area("Data", row, column, row, column), list(areas))

    chain = [formula(row, 2, Area("Data", row - 1, 2, row - 1, 2)) for row in range(2, 20_000)]
    running = [formula(row, 3, Area("Data", 1, 1, row, 1)) for row in range(1, 3_000)]
    apart = [formula(row, 4, Area("Data", row, 5, row, 5)) for row in range(1, 3_000)]
    changed = {"Data": [(1, 2), *((row, 1) for row in range(1, 3_000))]}
    start = time.perf_counter()
    found = dependants([*chain, *running, *apart], changed)
    assert time.perf_counter() - start < 5
    assert {f.place for f in found} == {f.place for f in [*chain, *running]}


def test_formulas_in_a_circle_end() -> None:
    circle = [
        Formula(("Data", 1, c), Area("Data", 1, c, 1, c), [Area("Data", 1, 3 - c, 1, 3 - c)]) for c in (1, 2)
    ]
    assert len(dependants(circle, {"Data": [(1, 1)]})) == 2
