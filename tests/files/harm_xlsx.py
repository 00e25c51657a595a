"""What an edit changed in an Excel workbook; see harm.py."""

import zipfile
from collections.abc import Collection, Iterator
from pathlib import Path, PurePosixPath

from files.harm import (
    Added,
    Comparison,
    Position,
    Written,
    drop_blanks,
    first_difference,
    outline,
    parsed,
    same_parts,
    take_out,
)
from lxml import etree

# What the schema has behind calcPr in the workbook's part.
AFTER_CALCULATION = {
    *("oleSize", "customWorkbookViews", "pivotCaches", "smartTagPr", "smartTagTypes", "webPublishing"),
    *("fileRecoveryPr", "webPublishObjects", "extLst"),
}
TRUE = ("1", "true")


def compare(old: Path, new: Path, written: Written, added: Added | None = None) -> Comparison:
    """What differs between two states of a workbook, apart from the cells `written` on each sheet.

    Beside columns that were `added` styles may be new, behind all that were there.
    """
    widths = added or {}
    found = Comparison()
    same_parts(old, new, found)
    with zipfile.ZipFile(old) as was, zipfile.ZipFile(new) as now:
        book, tabs = workbook_part(was), sheet_parts(was)
        for name in found.edited:
            parts = was.read(name), now.read(name)
            if name in tabs:
                of_added = set(widths.get(tabs[name], ()))
                _compare_sheets(name, *parts, tabs[name], set(written.get(tabs[name], ())), of_added, found)
            elif name == book:
                found.strays += _compare_books(name, *parts, named=bool(added))
            elif name == "xl/styles.xml" and added:
                found.strays += _compare_styles(name, *parts)
            else:
                found.strays.append(f"{name} was edited")
        found.strays += _chain_strays(now)
    return found


def workbook_part(archive: zipfile.ZipFile) -> str:
    """The name of the part that lists the sheets."""
    return next(target for kind, _, target in _relations(archive, "") if kind == "officeDocument")


def sheet_parts(archive: zipfile.ZipFile) -> dict[str, str]:
    """The sheets' titles by the names of their parts."""
    part = workbook_part(archive)
    targets = {key: target for kind, key, target in _relations(archive, part) if kind == "worksheet"}
    keys = {
        str(value): sheet.get("name", "")
        for sheet in parsed(archive.read(part)).iterfind("{*}sheets/{*}sheet")
        for name, value in sheet.items()
        if str(name).endswith("}id")
    }
    return {target: keys[key] for key, target in targets.items()}


def _chain_strays(archive: zipfile.ZipFile) -> list[str]:
    """Cells without a formula in the chain of calculation, for which Excel would repair the file."""
    part = workbook_part(archive)
    chain = next((target for kind, _, target in _relations(archive, part) if kind == "calcChain"), None)
    if chain is None:
        return []
    book = parsed(archive.read(part))
    titles = {sheet.get("sheetId"): sheet.get("name", "") for sheet in book.iterfind("{*}sheets/{*}sheet")}
    formulas = {title: _Grid(archive.read(name)).formulas for name, title in sheet_parts(archive).items()}
    sheet, strays = "", []
    for link in parsed(archive.read(chain)).iterfind("{*}c"):
        # A sheet's number holds for the following cells too.
        sheet = titles[link.get("i")] if link.get("i") else sheet
        if place(link.get("r", "")) not in formulas[sheet]:
            strays.append(f"{chain} names {sheet} {link.get('r')}, which has no formula")
    return strays


def _relations(archive: zipfile.ZipFile, part: str) -> Iterator[tuple[str, str, str]]:
    """What a part points to within the file: kind, id and name of the part as the file has it."""
    names = {name.casefold(): name for name in archive.namelist()}
    home, file = PurePosixPath(part).parent, PurePosixPath(part).name
    listing = str(home / "_rels" / f"{file}.rels")
    for relation in parsed(archive.read(names[listing.casefold()])).iterfind("{*}Relationship"):
        target = str(home / relation.get("Target", "")).lstrip("/")
        if target.casefold() in names:
            kind = relation.get("Type", "").rsplit("/", 1)[-1]
            yield kind, relation.get("Id", ""), names[target.casefold()]


def _compare_books(name: str, old: bytes, new: bytes, named: bool) -> list[str]:
    """The workbook's part may have been asked for computing when it is opened, or have our names, no more."""
    before, after = parsed(old), parsed(new)
    if named:
        for names in after.findall("{*}definedNames"):
            for ours in [e for e in names if e.get("name", "").startswith("sheetcalc_")]:
                take_out(ours)
            if len(names) == 0 and before.find("{*}definedNames") is None:
                take_out(names)
        if outline(before) == outline(after):
            return []
    held, settings = before.find("{*}calcPr"), after.find("{*}calcPr")
    if settings is None or settings.attrib.pop("fullCalcOnLoad", "") != "1":
        return [f"{name} was edited for nothing"]
    if held is not None:
        held.attrib.pop("fullCalcOnLoad", "")
    else:
        earlier = {etree.QName(e).localname for e in settings.itersiblings("{*}*", preceding=True)}
        later = {etree.QName(e).localname for e in settings.itersiblings("{*}*")}
        if settings.items() or earlier & AFTER_CALCULATION or later - AFTER_CALCULATION:
            return [f"{name}: {etree.tostring(settings)!r} stands between {earlier} and {later}"]
        take_out(settings)
    return first_difference(name, outline(before), outline(after))


class _Grid:
    """A sheet's part with its rows and cells by number."""

    def __init__(self, data: bytes) -> None:
        self.root = parsed(data)
        main = f"{{{etree.QName(self.root).namespace}}}"
        self.rows: dict[int, etree._Element] = {}
        self.cells: dict[Position, etree._Element] = {}
        self.formulas: set[Position] = set()
        blocks, number = [], 0
        for row in self.root.iterfind(f"{main}sheetData/{main}row"):
            names = [place(cell.get("r", "")) for cell in row.iterfind(f"{main}c[@r]")]
            number = int(row.get("r") or (names[0][0] if names else number + 1))
            self.rows[number] = row
            column = 0
            for cell in row.iterfind(f"{main}c"):
                column = place(cell.get("r", ""))[1] if cell.get("r") else column + 1
                self.cells[number, column] = cell
                formula = cell.find(f"{main}f")
                if formula is not None:
                    self.formulas.add((number, column))
                    if formula.get("t") in ("array", "dataTable"):
                        blocks.append(_block(formula.get("ref", "")))
        for top, left, bottom, right in blocks:
            self.formulas |= {(r, c) for r in range(top, bottom + 1) for c in range(left, right + 1)}


def place(name: str) -> Position:
    """Row and column of a cell's name."""
    letters = name.rstrip("0123456789")
    column = 0
    for letter in letters.upper():
        column = column * 26 + ord(letter) - 64
    return int(name[len(letters) :]), column


def cell_name(row: int, column: int) -> str:
    """The name of a cell."""
    letters = ""
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return f"{letters}{row}"


def _block(reference: str) -> tuple[int, int, int, int]:
    corners = [place(corner) for corner in reference.split(":")]
    return *corners[0], *corners[-1]


def _compare_styles(name: str, old: bytes, new: bytes) -> list[str]:
    """New cell styles stand behind those that were there, and so do new number formats."""
    before, after = parsed(old), parsed(new)
    held = before.find("{*}numFmts")
    known = {code.get("numFmtId") for code in before.findall("{*}numFmts/{*}numFmt")}
    for formats in after.findall("{*}numFmts"):
        for code in formats.findall("{*}numFmt"):
            if code.get("numFmtId") not in known:
                take_out(code)
        if held is None:
            take_out(formats)
        else:
            formats.set("count", held.get("count", ""))
    count = len(before.findall("{*}cellXfs/{*}xf"))
    for style in after.findall("{*}cellXfs/{*}xf")[count:]:
        take_out(style)
    for formats in after.findall("{*}cellXfs"):
        formats.set("count", str(count))
    return first_difference(name, outline(before), outline(after))


def _widths(root: etree._Element, aside: set[int]) -> dict[int, dict[str, str]]:
    """What is stated of each column, but for those that are left aside; it is taken out."""
    found: dict[int, dict[str, str]] = {}
    for column in root.findall("{*}cols/{*}col"):
        said = {str(key): str(value) for key, value in column.items() if key not in ("min", "max")}
        numbers = range(int(column.get("min", "0")), int(column.get("max", "0")) + 1)
        found |= dict.fromkeys(set(numbers) - aside, said)
    for columns in root.findall("{*}cols"):
        take_out(columns)
    return found


def _compare_sheets(
    name: str, old: bytes, new: bytes, tab: str, written: set[Position], added: set[int], found: Comparison
) -> None:
    before, after = _Grid(old), _Grid(new)
    strays = [f"{name}: a formula was overwritten at {at}" for at in before.formulas & written]
    found.forgotten[tab] = _leave_results_aside(before, after)
    found.open[tab] = {at for at in after.formulas if not _has_result(after.cells.get(at))}
    made = (written - before.cells.keys()) & after.cells.keys()
    for number in {row for row, _ in written} & before.rows.keys():
        _leave_row_aside(before.rows[number], after.rows[number], [c for r, c in made if r == number])
    for grid in (before, after):
        _name_everything(grid)
    for at in written:
        strays += _leave_cell_aside(name, before, after, at)
    for number in after.rows.keys() - before.rows.keys():
        row = after.rows[number]
        if not (set(row.keys()) <= {"r", "ht"} and len(row) == 0 and _in_order(row)):
            strays.append(f"{name}: there is a new row {etree.tostring(row)!r}")
        take_out(row)
    _grow_dimension(before.root, made)
    for grid in (before, after):
        _leave_links_aside(grid.root, {cell_name(*at) for at in written})
    if added and _widths(before.root, added) != _widths(after.root, added):
        strays.append(f"{name}: a column that was there has another width")
    found.strays += [*strays, *first_difference(name, outline(before.root), outline(after.root))]


def _leave_results_aside(before: _Grid, after: _Grid) -> set[Position]:
    """Take out the results of formulas that were forgotten; any other has to be as it was."""
    forgotten = set()
    for at in before.formulas & before.cells.keys() & after.cells.keys():
        cell, now = before.cells[at], after.cells[at]
        result = cell.find("{*}v")
        if result is not None and not _has_result(now):
            forgotten.add(at)
            take_out(result)
            for attribute in ("t", "vm"):
                cell.attrib.pop(attribute, "")
            drop_blanks(cell, now)
    return forgotten


def _has_result(cell: etree._Element | None) -> bool:
    return cell is not None and cell.find("{*}v") is not None


def _leave_row_aside(row: etree._Element, now: etree._Element, made: list[int]) -> None:
    """A row fits its texts unless a person has set its height; spans that are not true any more go."""
    if row.get("customHeight") not in TRUE:
        for element in (row, now):
            element.attrib.pop("ht", "")
    spans = [span.split(":") for span in row.get("spans", "").split()]
    outside = [c for c in made if not any(int(a) <= c <= int(b) for a, b in spans)]
    if spans and outside:
        del row.attrib["spans"]


def _name_everything(grid: _Grid) -> None:
    """Rows and cells may get the names that were understood."""
    for number, row in grid.rows.items():
        row.set("r", row.get("r", str(number)))
    for at, cell in grid.cells.items():
        cell.set("r", cell.get("r", cell_name(*at)))


def _leave_cell_aside(name: str, before: _Grid, after: _Grid, at: Position) -> Iterator[str]:
    """Take a written cell's value out, and a cell that was made for it as a whole."""
    for grid in (before, after):
        if at in grid.cells:
            cell = grid.cells[at]
            for attribute in ("t", "vm", "cm", "ph"):
                cell.attrib.pop(attribute, "")
            for child in [*cell.findall("{*}v"), *cell.findall("{*}is")]:
                take_out(child)
            drop_blanks(cell)
    if at in after.cells and at not in before.cells:
        cell, style = after.cells[at], _line_style(before, at)
        looks = {("r", cell_name(*at)), *([("s", style)] if style != "0" else [])}
        if set(cell.items()) != looks or len(cell) or not _in_order(cell):
            yield f"{name}: there is a new cell {etree.tostring(cell)!r} in a line of style {style}"
        take_out(cell)


def _in_order(made: etree._Element) -> bool:
    """Whether a new row or cell is in order, as far as its neighbours are."""
    others = [made, *made.itersiblings(made.tag)]
    others = [*reversed([*made.itersiblings(made.tag, preceding=True)]), *others]
    numbers = {e: int(name) if (name := e.get("r", "")).isdigit() else place(name)[1] for e in others}
    line, without = [numbers[e] for e in others], [numbers[e] for e in others if e is not made]
    return line == sorted(line) or without != sorted(without)


def _line_style(before: _Grid, at: Position) -> str:
    """The style a new cell has to take over from its row or column."""
    row = before.rows.get(at[0])
    if row is not None and row.get("customFormat") in TRUE:
        return row.get("s", "0")
    for column in before.root.iterfind("{*}cols/{*}col"):
        if int(column.get("min", "0")) <= at[1] <= int(column.get("max", "0")):
            return column.get("style", "0")
    return "0"


def _grow_dimension(root: etree._Element, made: Collection[Position]) -> None:
    dimension = root.find("{*}dimension")
    if dimension is not None and made:
        held = _block(dimension.get("ref", ""))
        top, left = (min(held[i], *(at[i] for at in made)) for i in (0, 1))
        bottom, right = (max(held[i + 2], *(at[i] for at in made)) for i in (0, 1))
        if (top, left, bottom, right) != held:
            dimension.set("ref", f"{cell_name(top, left)}:{cell_name(bottom, right)}")


def _leave_links_aside(root: etree._Element, names: set[str]) -> None:
    """A link into the workbook goes with the text of its cell."""
    for links in root.findall("{*}hyperlinks"):
        drop_blanks(links)
        for link in links.findall("{*}hyperlink"):
            if link.get("ref") in names and not any(str(key).endswith("}id") for key in link.attrib):
                take_out(link)
        if len(links) == 0:
            take_out(links)
