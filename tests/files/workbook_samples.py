"""Workbooks to test with, and readers that share nothing with the program."""

import subprocess
import zipfile
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

import openpyxl
import xlsxwriter
from odf.element import Element
from odf.namespaces import OFFICENS, TABLENS
from odf.opendocument import load

CORPUS = Path(__file__).parents[2].parent / "shared" / "corpus"

ODS_HEAD = (
    '<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
    'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" '
    'xmlns:style="urn:oasis:names:tc:opendocument:xmlns:style:1.0" '
    'xmlns:draw="urn:oasis:names:tc:opendocument:xmlns:drawing:1.0" '
    'xmlns:dc="http://purl.org/dc/elements/1.1/" '
    'xmlns:xlink="http://www.w3.org/1999/xlink" '
    'xmlns:calcext="urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0" '
    'office:version="1.3">'
)
ODS_MANIFEST = (
    '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
    '<manifest:file-entry manifest:full-path="/" '
    'manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/>'
    '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/>'
    "</manifest:manifest>"
)


def write_ods(path: Path, spreadsheet: str, styles: str = "") -> Path:
    """A small ods file with this XML inside office:spreadsheet."""
    content = (
        f"{ODS_HEAD}<office:automatic-styles>{styles}</office:automatic-styles>"
        f"<office:body><office:spreadsheet>{spreadsheet}</office:spreadsheet></office:body>"
        "</office:document-content>"
    )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        mimetype = "application/vnd.oasis.opendocument.spreadsheet"
        archive.writestr(zipfile.ZipInfo("mimetype"), mimetype, zipfile.ZIP_STORED)
        archive.writestr("content.xml", content)
        archive.writestr("META-INF/manifest.xml", ODS_MANIFEST)
    return path


def write_xlsx(path: Path, fill: Callable[[Any, Any], None]) -> Path:
    """An xlsx file with a sheet "Data", made by another library."""
    book = xlsxwriter.Workbook(path)
    fill(book, book.add_worksheet("Data"))
    book.close()
    return path


def with_parts(source: Path, target: Path, changes: Mapping[str, Callable[[bytes], bytes]]) -> Path:
    """A copy of a zip file with some members changed."""
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, changes.get(name, bytes)(old.read(name)))
    return target


def part(path: Path, name: str) -> str:
    """A member of a zip file as text."""
    with zipfile.ZipFile(path) as archive:
        return archive.read(name).decode("utf-8")


def changed_members(before: Path, after: Path) -> set[str]:
    """The members whose content differs; both files must list the same members in the same order."""
    with zipfile.ZipFile(before) as old, zipfile.ZipFile(after) as new:
        assert new.testzip() is None
        assert old.namelist() == new.namelist()
        return {name for name in old.namelist() if old.read(name) != new.read(name)}


def raw_members(path: Path) -> dict[str, bytes]:
    """Each member with its header, packed data and what follows it, in the order of the file."""
    data = path.read_bytes()
    with zipfile.ZipFile(path) as archive:
        infos = sorted(archive.infolist(), key=lambda info: info.header_offset)
        ends = [*(info.header_offset for info in infos[1:]), archive.start_dir]
    return {info.filename: data[info.header_offset : end] for info, end in zip(infos, ends, strict=True)}


def xlsx_cells(path: Path) -> dict[tuple[str, int, int], tuple[Any, ...]]:
    """What openpyxl sees in every cell: content, number format, font, fill, comment and link."""
    found: dict[tuple[str, int, int], tuple[Any, ...]] = {}
    for sheet in openpyxl.load_workbook(path).worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                link, note, row_number, column = cell.hyperlink, cell.comment, cell.row, cell.column
                assert row_number and column
                look = (
                    getattr(cell.value, "text", cell.value),
                    cell.number_format,
                    cell.font.b,
                    cell.fill.fgColor.rgb,
                    note.text if note else None,
                    (link.location, link.target) if link else None,
                )
                if look != (None, "General", False, "00000000", None, None):
                    found[sheet.title, row_number, column] = look
    return found


def ods_cells(path: Path) -> dict[tuple[str, int, int], tuple[Any, ...]]:
    """What odfpy sees in every cell that is not blank: type, value, shown text, formula and style."""
    found: dict[tuple[str, int, int], tuple[Any, ...]] = {}
    for table in _children(load(path).spreadsheet, "table"):
        name = table.getAttrNS(TABLENS, "name")
        row_number = 0
        for row in _descend(table, "table-row"):
            rows = int(row.getAttrNS(TABLENS, "number-rows-repeated") or 1)
            column = 0
            for cell in filter(_is_element, row.childNodes):
                count = int(cell.getAttrNS(TABLENS, "number-columns-repeated") or 1)
                look = _look(cell)
                if look is not None:
                    for r in range(row_number, row_number + min(rows, 50)):
                        for c in range(column, column + min(count, 50)):
                            found[name, r + 1, c + 1] = look
                column += count
            row_number += rows
    return found


def _is_element(node: Any) -> bool:
    return isinstance(node, Element)


def _children(element: Any, name: str) -> Iterable[Any]:
    return [child for child in element.childNodes if _is_element(child) and child.qname == (TABLENS, name)]


def _descend(element: Any, name: str) -> Iterable[Any]:
    for child in filter(_is_element, element.childNodes):
        if child.qname == (TABLENS, name):
            yield child
        elif child.qname[1] in ("table-rows", "table-row-group", "table-header-rows"):
            yield from _descend(child, name)


def _look(cell: Any) -> tuple[Any, ...] | None:
    kind = cell.attributes.get((OFFICENS, "value-type"))
    formula = cell.attributes.get((TABLENS, "formula"))
    if kind is None and formula is None:
        return None
    names = ("value", "date-value", "time-value", "boolean-value", "string-value")
    value = next((cell.attributes[OFFICENS, n] for n in names if (OFFICENS, n) in cell.attributes), None)
    texts = [_shown(child) for child in filter(_is_element, cell.childNodes) if child.qname[1] == "p"]
    return kind, value, "\n".join(texts), formula, cell.attributes.get((TABLENS, "style-name"))


def _shown(element: Any) -> str:
    if not isinstance(element, Element):
        return str(element.data)
    if element.qname[1] == "s":
        return " " * int(next((v for k, v in element.attributes.items() if k[1] == "c"), 1))
    if element.qname[1] == "tab":
        return "\t"
    return "".join(_shown(child) for child in element.childNodes)


def convert(files: Iterable[Path], folder: Path, ending: str) -> Path:
    """Open the files in LibreOffice and save them in another format into a folder, all in one run."""
    profile = (folder.parent / "profile").as_uri()
    command = ["soffice", f"-env:UserInstallation={profile}", "--headless", "--convert-to", ending]
    subprocess.run(
        [*command, "--outdir", str(folder), *map(str, files)], check=True, capture_output=True, timeout=600
    )
    return folder
