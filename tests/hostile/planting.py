"""Putting things where they do not belong: into the members of a small workbook of ours."""

import re
import zipfile
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import NamedTuple

from demo import type_in

from sheetcalc.making import new

Parts = dict[str, bytes]
# Changes the parts in place, or gives the bytes of a whole file. The number is the size: 1 for the full one.
Plant = Callable[[Parts, float], bytes | None]

BOOK, BOOK_RELATIONS = "xl/workbook.xml", "xl/_rels/workbook.xml.rels"
SHEET, STYLES = "xl/worksheets/sheet3.xml", "xl/styles.xml"
CONTENT, MANIFEST = "content.xml", "META-INF/manifest.xml"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
RELATION = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
EITHER = "?"
TYPED = {
    "strength": [
        {"lot": "first", "volume": 0.7, "reading": 60.0, "temperature": 20.0, "target_volume": 1.0},
        {"lot": "second", "volume": 5.0, "reading": 55.0, "temperature": 20.0, "target_strength": 40.0},
    ]
}


class Case(NamedTuple):
    """Something planted: its name, into which format, how, and what has to come of it.

    `refusal` is a word of the sentence that refuses the file, None where it is filled all the same, and
    EITHER where one is as good as the other.
    """

    name: str
    ending: str
    plant: Plant
    refusal: str | None

    def expects(self, how: str, told: str) -> bool:
        """Whether this is what has to come of it."""
        if self.refusal is None or how != "refused":
            return how == "filled" and self.refusal in (None, EITHER)
        return self.refusal == EITHER or self.refusal in told


def make(folder: Path, ending: str) -> Path:
    """A small workbook of ours with two records typed in, not yet filled."""
    path = folder / f"bench{ending}"
    new("bench", path)
    type_in(path, TYPED)
    return path


def planted(case: Case, source: Path, target: Path, size: float) -> Path:
    """Write a copy of the workbook with the case planted in it."""
    with zipfile.ZipFile(source) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    whole = case.plant(parts, size)
    target.write_bytes(packed(parts) if whole is None else whole)
    return target


def packed(parts: Parts) -> bytes:
    """A zip file of the parts."""
    out = BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


def put(parts: Parts, part: str, before: str, text: str) -> None:
    """Put text into a part, before the last place where `before` stands."""
    at = parts[part].rindex(before.encode())
    parts[part] = parts[part][:at] + text.encode() + parts[part][at:]


def before(part: str, mark: str, text: str) -> Plant:
    """Put text into a part, before the last `mark`."""
    return lambda parts, size: put(parts, part, mark, text)


def changed(part: str, pattern: str, new: str) -> Plant:
    """Put other text in the place of the one that the pattern finds; \\1 is its first group."""

    def plant(parts: Parts, size: float) -> None:
        content, count = re.subn(
            pattern,
            lambda match: new.replace("\\1", match[1] if match.groups() else ""),
            parts[part].decode(),
        )
        assert count == 1, pattern
        parts[part] = content.encode()

    return plant


def below(text: str) -> Plant:
    """Put text below the rows of the sheet Strength of the ods file."""

    def plant(parts: Parts, size: float) -> None:
        content = parts[CONTENT]
        at = content.index(b"</table:table>", content.index(b'table:name="Strength"'))
        parts[CONTENT] = content[:at] + text.encode() + content[at:]

    return plant


def rows(ending: str, count: float, row: Callable[[int], str], least: int = 0) -> Plant:
    """Put so many rows, the first of them the 200th, below those of the sheet Strength."""

    def plant(parts: Parts, size: float) -> None:
        text = "".join(row(number) for number in range(200, 200 + max(least, int(count * size))))
        put(parts, SHEET, "</sheetData>", text) if ending == ".xlsx" else below(text)(parts, size)

    return plant


def entry(content: str, cell: str = "B6", attributes: str = "") -> Plant:
    """Put other content into a cell of the sheet Strength of the xlsx file; B6 holds a volume."""
    pattern = rf'<c r="{cell}"( s="\d+")[^>]*?(?:/>|>.*?</c>)'
    return changed(SHEET, pattern, f'<c r="{cell}"\\1 {attributes}>{content}</c>')


def text_entry(text: str, cell: str = "B6") -> Plant:
    """Put a text into a cell of the xlsx file."""
    return entry(f"<is><t>{text}</t></is>", cell, 't="inlineStr"')


def ods_entry(attributes: str, content: str = "") -> Plant:
    """Put another value and content into the first volume of the ods file."""
    pattern = (
        r'(<table:table-cell(?: table:[\w-]+="[^"]*")*)[^>]*office:value="0\.7"[^>]*>.*?</table:table-cell>'
    )
    return changed(CONTENT, pattern, f"\\1 {attributes}>{content}</table:table-cell>")


def ods_text_entry(content: str) -> Plant:
    """Put a text, as XML, into the first volume of the ods file."""
    return ods_entry('office:value-type="string"', f"<text:p>{content}</text:p>")


def shared_strings(text: str, head: str = "") -> Plant:
    """Give the xlsx file a part of shared strings with one text in it, which A6 shows."""

    def plant(parts: Parts, size: float) -> None:
        relation = f'<Relationship Id="rId99" Type="{RELATION}/sharedStrings" Target="sharedStrings.xml"/>'
        put(parts, BOOK_RELATIONS, "</Relationships>", relation)
        parts["xl/sharedStrings.xml"] = f'{head}<sst xmlns="{MAIN}"><si><t>{text}</t></si></sst>'.encode()
        entry("<v>0</v>", "A6", 't="s"')(parts, size)

    return plant


def both(*plants: Plant) -> Plant:
    """One after the other."""

    def plant(parts: Parts, size: float) -> None:
        for one in plants:
            one(parts, size)

    return plant
