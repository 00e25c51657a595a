"""Names and formulas in circles and chains, made to keep a reader busy, over areas of any size."""

from collections.abc import Callable, Iterator

from hostile.planting import BOOK, CONTENT, Case, Parts, Plant, both, put, rows

Text = Callable[[int], str]
COLUMNS = [f"{a}{b}" for a in "ABCDEF" for b in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"]

# How many (at the full size; few stay as many), and the formula of row n in either format.
FORMULAS: dict[str, tuple[int, Text, Text]] = {
    "a circle": (2, lambda n: f"G6+AA{401 - n}", lambda n: f"[.G6]+[.AA{401 - n}]"),
    "a chain": (100_000, lambda n: f"G6+AA{n - 1}", lambda n: f"[.G6]+[.AA{n - 1}]"),
    "a chain of blocks": (
        50_000,
        lambda n: f"SUM(AA{n + 1}:AA{n + 3},G6)",
        lambda n: f"SUM([.AA{n + 1}:.AA{n + 3}];[.G6])",
    ),
    "running totals": (50_000, lambda n: f"SUM(G$6:G{n})", lambda n: f"SUM([.G$6:.G{n}])"),
    "all the sheet": (20_000, lambda n: "SUM(A1:XFD1048576)", lambda n: "SUM([.A1:.XFD1048576])"),
    "odd areas": (20_000, lambda n: f"SUM(B2:XEF{n * 7})", lambda n: f"SUM([.B2:.XEF{n * 7}])"),
    "quotes": (1_000, lambda n: "'" * 8001, lambda n: "['" + "''" * 4000),
    "brackets": (1_000, lambda n: "[" * 8001, lambda n: "[" * 8001),
    "unclosed texts": (1_000, lambda n: "&quot;" + "x" * 8001, lambda n: "&quot;" + "x" * 8001),
    "addresses that are computed": (50_000, lambda n: "INDIRECT(G6)", lambda n: "INDIRECT([.G6])"),
    "nine million letters": (1, lambda n: "G6+" * 3_000_000 + "1", lambda n: "[.G6]+" * 1_500_000 + "1"),
}
NAMES: dict[str, tuple[int, Text]] = {
    "themselves": (40, lambda i: f"nick_{i}"),
    "a circle": (40, lambda i: f"nick_{(i + 1) % 40}"),
    "a chain": (100_000, lambda i: f"nick_{i + 1}"),
    "each other, ten times each": (40, lambda i: "+".join([f"nick_{i + 1}"] * 10)),
    "all others": (40, lambda i: "+".join(f"nick_{j}" for j in range(40))),
    "long texts": (40, lambda i: "nick_1+" * 20_000 + "1"),
}


def cases() -> Iterator[Case]:
    """Filled: what is too involved is computed afresh by the next program."""
    for name, (count, excel, document) in FORMULAS.items():
        yield Case(f"formulas: {name}", ".xlsx", _cells(count, excel), None)
        yield Case(f"formulas: {name}", ".ods", _ods_cells(count, document), None)
    shared = _cells(200_000, lambda n: "G6+" * 2000 + "1" if n == 200 else "", ' t="shared" si="0"')
    yield Case("formulas: a long one shared by all", ".xlsx", shared, None)
    for area, refusal in {"A1:XFD1048576": "array formula", "A1:ZZZ9999999": None, "#REF!": None}.items():
        array = _cells(20_000, lambda n: "G6", f' t="array" ref="{area}"')
        yield Case(f"array formulas over {area}", ".xlsx", array, refusal)
    cell = '<c r="{0}{1}"><f t="array" ref="{0}{1}:{0}{2}">G6</f><v>1</v></c>'
    many = rows(
        ".xlsx",
        1_000,
        lambda n: f'<row r="{n}">' + "".join(cell.format(c, n, n + 1) for c in COLUMNS) + "</row>",
    )
    yield Case("array formulas over each other", ".xlsx", many, None)
    for name, (count, text) in NAMES.items():
        yield Case(f"names that stand for {name}", ".xlsx", _names(count, text), None)
        yield Case(f"names that stand for {name}", ".ods", _ods_names(count, text), None)
    yield Case("100,000 names", ".xlsx", _names(100_000, lambda i: "'Strength'!$A$9"), None)
    yield Case("100,000 names", ".ods", _ods_names(100_000, lambda i: "[$Strength.$A$9]"), None)


def _cells(count: int, formula: Text, attributes: str = "") -> Plant:
    def row(n: int) -> str:
        return f'<row r="{n}"><c r="AA{n}"><f{attributes}>{formula(n)}</f><v>1</v></c></row>'

    return rows(".xlsx", count, row, least=min(count, 100))


def _ods_cells(count: int, formula: Text) -> Plant:
    cell = '<table:table-cell table:formula="of:={}" office:value-type="float" office:value="1"/>'
    blank = '<table:table-cell table:number-columns-repeated="26"/>'
    return rows(
        ".ods",
        count,
        lambda n: f"<table:table-row>{blank}{cell.format(formula(n))}</table:table-row>",
        least=min(count, 100),
    )


def _names(count: int, text: Text) -> Plant:
    def plant(parts: Parts, size: float) -> None:
        numbers = range(max(40, int(count * size)))
        names = "".join(f'<definedName name="nick_{i}">{text(i)}</definedName>' for i in numbers)
        put(parts, BOOK, "</definedNames>", names)

    return both(plant, _cells(100, lambda n: f"nick_0+nick_{n - 200}"))


def _ods_names(count: int, text: Text) -> Plant:
    name = '<table:named-expression table:name="nick_{}" table:expression="of:={}"/>'

    def plant(parts: Parts, size: float) -> None:
        numbers = range(max(40, int(count * size)))
        put(parts, CONTENT, "</table:named-expressions>", "".join(name.format(i, text(i)) for i in numbers))

    return both(plant, _ods_cells(100, lambda n: f"nick_0+nick_{n - 200}"))
