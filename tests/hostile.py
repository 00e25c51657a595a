"""Hostile things planted in a workbook of ours, and a fill of it with bounds on memory and time.

Usage: python -m tests.hostile [PART OF A NAME]

Prints, for each case at its full size, what came of it, the seconds of the processor and the memory it took. The
tests plant the same cases at a tenth of the size.
"""

import contextlib
import json
import os
import re
import resource
import struct
import subprocess
import sys
import tempfile
import time
import traceback
import zipfile
import zlib
from collections.abc import Callable, Iterator
from io import BytesIO
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT / "examples"), str(ROOT / "tests")]

SECONDS = 120
MEMORY = 4 * 2**30
Parts = dict[str, bytes]

BOOK, SHEET, STYLES = "xl/workbook.xml", "xl/worksheets/sheet3.xml", "xl/styles.xml"
CONTENT, MANIFEST = "content.xml", "META-INF/manifest.xml"
TYPED = {
    "strength": [
        {"lot": "first", "volume": 0.7, "reading": 60.0, "temperature": 20.0, "target_volume": 1.0},
        {"lot": "second", "volume": 5.0, "reading": 55.0, "temperature": 20.0, "target_strength": 40.0},
    ]
}


class Case(NamedTuple):
    """Something planted: into which format, how (parts in place, or the whole file), and what has to come of it.

    `refusal` is a word of the sentence that refuses the file, None where it is filled all the same, and "?" where
    either will do. `plant` gets the size: 1 for the full one.
    """

    name: str
    ending: str
    plant: Callable[[Parts, float], Parts | bytes | None]
    refusal: str | None


class Outcome(NamedTuple):
    """What came of a fill: "filled", "refused" or "bug", what was said, and what it took."""

    how: str
    told: str
    seconds: float
    megabytes: float


def make(folder: Path, ending: str) -> Path:
    """A small workbook of ours with two records typed in, not yet filled."""
    from demo import type_in

    from sheetcalc import build, layouts

    path = folder / f"bench{ending}"
    build.new_workbook(layouts.load("bench"), "metric", path)
    type_in(path, TYPED)
    return path


def planted(case: Case, source: Path, target: Path, size: float) -> Path:
    """Write a copy of the workbook with the case planted in it."""
    with zipfile.ZipFile(source) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    result = case.plant(parts, size)
    target.write_bytes(result if isinstance(result, bytes) else packed(parts if result is None else result))
    return target


def packed(parts: Parts) -> bytes:
    """A zip file of the parts."""
    out = BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


# Planting in the XML.


def put(parts: Parts, part: str, before: str, text: str | bytes) -> None:
    """Put text into a part, before the last place where `before` stands."""
    content = parts[part]
    at = content.rindex(before.encode())
    parts[part] = content[:at] + (text.encode() if isinstance(text, str) else text) + content[at:]


def entry(content: str, cell: str = "B6", attributes: str = "") -> Callable[[Parts, float], None]:
    """Put other content into one entry cell of the xlsx file."""

    def plant(parts: Parts, size: float) -> None:
        old = re.compile(rf'<c r="{cell}"( s="\d+")[^>]*?(?:/>|>.*?</c>)'.encode())
        new = f'<c r="{cell}"\\1 {attributes}>{content}</c>'.encode()
        parts[SHEET], count = old.subn(lambda match: new.replace(b"\\1", match[1]), parts[SHEET])
        assert count == 1

    return plant


def ods_entry(attributes: str, content: str = "") -> Callable[[Parts, float], None]:
    """Put other content into the volume of the first record of the ods file."""

    def plant(parts: Parts, size: float) -> None:
        old = re.compile(rb'office:value="0.7"[^>]*>.*?</table:table-cell>')
        new = f"{attributes}>{content}</table:table-cell>".encode()
        cell = re.compile(rb'office:value-type="float" office:value="0.7"|office:value="0.7" [^>]*float"')
        assert cell.search(parts[CONTENT]) or old.search(parts[CONTENT])
        content_without_type = re.sub(
            rb'(<table:table-cell [^>]*?)office:value-type="float"([^>]*office:value="0.7")',
            rb"\1\2",
            parts[CONTENT],
        )
        parts[CONTENT], count = re.subn(
            rb'office:value="0.7"[^>]*>.*?</table:table-cell>', lambda _: new, content_without_type
        )
        assert count == 1

    return plant


def strength_table(parts: Parts, text: str | bytes) -> None:
    """Put rows below those of the sheet Strength of the ods file."""
    content = parts[CONTENT]
    at = content.index(b"</table:table>", content.index(b'table:name="Strength"'))
    parts[CONTENT] = content[:at] + (text.encode() if isinstance(text, str) else text) + content[at:]


def declared(text: str, part: str, encoding: str = "") -> Callable[[Parts, float], None]:
    """Put a document type before the root of a part, and a use of its entity into the root's first attribute."""

    def plant(parts: Parts, size: float) -> None:
        content = re.sub(rb"^<\?xml.*?\?>\s*", b"", parts[part]).decode()
        content = f"{text}{content}".replace('="', '="&a;', 1) if "ENTITY" in text else f"{text}{content}"
        if encoding == "UTF-16":
            parts[part] = f'<?xml version="1.0" encoding="UTF-16"?>{content}'.encode("utf-16")
        elif encoding == "UTF-7":
            hidden = content.replace("<!", "+ADwAIQ-")
            parts[part] = f'<?xml version="1.0" encoding="UTF-7"?>{hidden}'.encode()
        elif encoding == "IBM037":
            parts[part] = f'<?xml version="1.0" encoding="IBM037"?>{content}'.encode("cp037", "replace")
        else:
            parts[part] = f'<?xml version="1.0" encoding="UTF-8"?>{content}'.encode()

    return plant


LAUGHS = (
    '<!DOCTYPE x [<!ENTITY a0 "aaaaaaaaaa">'
    + "".join(f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 10))
    + '<!ENTITY a "&a9;">]>'
)
QUADRATIC = f'<!DOCTYPE x [<!ENTITY b "{"b" * 50_000}"><!ENTITY a "{"&b;" * 5_000}">]>'
OUTSIDE = '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]>'
PARAMETER = '<!DOCTYPE x [<!ENTITY % p SYSTEM "file:///etc/hostname"> %p; <!ENTITY a "x">]>'
DEFAULTS = f'<!DOCTYPE x [<!ATTLIST c x CDATA "{"d" * 1_000_000}">]>'
NAMED = '<!DOCTYPE x SYSTEM "file:///etc/hostname">'


def declarations() -> Iterator[Case]:
    """Entities of all kinds, in every part that is read and some that are not, in encodings that hide them."""
    kinds = {
        "laughs": LAUGHS,
        "quadratic": QUADRATIC,
        "outside": OUTSIDE,
        "parameter": PARAMETER,
        "defaults": DEFAULTS,
        "named": NAMED,
    }
    read = {
        ".xlsx": (BOOK, SHEET, STYLES, "_rels/.rels", "xl/_rels/workbook.xml.rels"),
        ".ods": (CONTENT, MANIFEST),
    }
    for ending, members in read.items():
        for member in members:
            for kind, text in kinds.items():
                refusal = None if kind == "named" and member == MANIFEST else "declares"
                yield Case(f"entities {kind} in {member}", ending, declared(text, member), refusal)
        for encoding in ("UTF-16", "UTF-7", "IBM037"):
            where = members[0]
            refusal = "damaged" if encoding == "IBM037" else "declares"
            yield Case(
                f"entities in {where} as {encoding}", ending, declared(LAUGHS, where, encoding), "?" + refusal
            )
    for member, ending in {
        "[Content_Types].xml": ".xlsx",
        "docProps/core.xml": ".xlsx",
        "styles.xml": ".ods",
        "meta.xml": ".ods",
        "settings.xml": ".ods",
    }.items():
        yield Case(f"entities in {member}, which is not read", ending, declared(LAUGHS, member), None)
    yield Case("entities in the shared strings", ".xlsx", _shared_strings(LAUGHS, "&a;"), "declares")
    include = (
        '<xi:include xmlns:xi="http://www.w3.org/2001/XInclude" href="file:///etc/hostname" parse="text"/>'
    )
    yield Case("xinclude", ".xlsx", lambda parts, size: put(parts, SHEET, "</worksheet>", include), None)
    yield Case("xinclude", ".ods", lambda parts, size: strength_table(parts, include), None)


def _shared_strings(head: str, text: str) -> Callable[[Parts, float], None]:
    def plant(parts: Parts, size: float) -> None:
        kind = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings"
        relation = f'<Relationship Id="rId99" Type="{kind}" Target="sharedStrings.xml"/>'
        put(parts, "xl/_rels/workbook.xml.rels", "</Relationships>", relation)
        main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
        parts["xl/sharedStrings.xml"] = f'{head}<sst xmlns="{main}"><si><t>{text}</t></si></sst>'.encode()
        entry("<v>0</v>", "A6", 't="s"')(parts, size)

    return plant


# Planting in the zip container.


def archives() -> Iterator[Case]:
    """Bombs, lies about sizes and names, members over each other."""
    for ending, main in ((".xlsx", SHEET), (".ods", CONTENT)):
        yield Case(
            "bomb beside", ending, _with("picture.bin", lambda size: bytes(int(300e6 * size))), "suspicious"
        )
        yield Case("bomb as sheet", ending, _blank_bomb(main), "suspicious")
        yield Case("ten thousand members", ending, _many_members, "more than")
        yield Case("a million members in the listing", ending, _long_listing, "more than")
        yield Case("members over each other", ending, _overlapping, "damaged")
        yield Case("members quoted in each other", ending, _quoted, "damaged")
        yield Case("bomb within", ending, _nested, None)
        yield Case("said to be small", ending, _lie(main, lambda true: 100), "damaged")
        yield Case("said to be small, bomb", ending, _hidden_bomb(main), "damaged")
        yield Case("said to be a little larger", ending, _lie(main, lambda true: true + 1), "damaged")
        yield Case("said to be huge", ending, _lie(main, lambda true: 120_000_000), "?")
        yield Case("other name inside", ending, _other_name(main), "damaged")
        yield Case("twice", ending, _twice(main), "twice")
        yield Case("twice but for case", ending, _twice(main, str.upper), "twice")
        for name in (
            *("../evil", "../../../../etc/evil", "/etc/evil", "C:/evil", "C:evil", "a/../../evil"),
            *("..\\evil", "\\evil", "a\\..\\..\\evil", "\\\\server\\evil"),
        ):
            yield Case(f"member {name}", ending, _with(name, lambda size: b"x"), "unsafe")
        yield Case("member %2e%2e/evil", ending, _with("%2e%2e/evil", lambda size: b"x"), None)
        yield Case("member with a long name", ending, _with("é" * 30_000, lambda size: b"x"), None)


def _with(name: str, content: Callable[[float], bytes]) -> Callable[[Parts, float], None]:
    def plant(parts: Parts, size: float) -> None:
        parts[name] = content(size)

    return plant


def _blank_bomb(member: str) -> Callable[[Parts, float], None]:
    def plant(parts: Parts, size: float) -> None:
        parts[member] += b" " * int(120e6 * max(size, 0.2))

    return plant


def _many_members(parts: Parts, size: float) -> None:
    parts |= {f"x/{number}": b"" for number in range(10_001)}


def _long_listing(parts: Parts, size: float) -> bytes:
    data = packed(parts)
    end = data.rindex(b"PK\x05\x06")
    start = int.from_bytes(data[end + 16 : end + 20], "little")
    record = data[start : data.index(b"PK\x01\x02", start + 4)]
    listing = data[start:end] + record * int(1_000_000 * size)
    total = len(listing).to_bytes(4, "little") + start.to_bytes(4, "little")
    return data[:start] + listing + data[end : end + 12] + total + data[end + 20 :]


def _records(data: bytes) -> tuple[int, list[bytes], bytes]:
    """Where the listing of a zip file starts, its records, and its end."""
    end = data.rindex(b"PK\x05\x06")
    start = int.from_bytes(data[end + 16 : end + 20], "little")
    marks = [*(match.start() for match in re.finditer(b"PK\x01\x02", data[start:end])), end - start]
    return start, [data[start + a : start + b] for a, b in zip(marks, marks[1:], strict=False)], data[end:]


def _relisted(data: bytes, change: Callable[[list[bytes]], list[bytes]]) -> bytes:
    start, records, end = _records(data)
    records = change(records)
    count = struct.pack("<2H2L", len(records), len(records), sum(map(len, records)), start)
    return data[:start] + b"".join(records) + end[:8] + count + end[20:]


def _overlapping(parts: Parts, size: float) -> bytes:
    """All records lead to one and the same member."""

    def change(records: list[bytes]) -> list[bytes]:
        more = []
        for number in range(int(1000 * size)):
            name = f"x{number:05}".encode()
            last = records[-1]
            more.append(last[:28] + struct.pack("<H", len(name)) + last[30:46] + name)
        return records + more

    return _relisted(packed(parts), change)


def _quoted(parts: Parts, size: float) -> bytes:
    """Each member's data are a stored block that holds the next one's header, down to a kernel they all share."""
    deflate = zlib.compressobj(9, zlib.DEFLATED, -15)
    kernel = deflate.compress(bytes(int(8e6 * size) + 1000)) + deflate.flush()
    names = [f"q{number:04}".encode() for number in range(5 + int(25 * size))]
    unpacked = bytes(int(8e6 * size) + 1000)
    data, lengths = kernel, []
    body = b""
    for name in reversed(names):
        header = (
            struct.pack("<4s5H3L2H", b"PK\x03\x04", 20, 0, 8, 0, 33, 0, len(data), 0, len(name), 0) + name
        )
        lengths.append((name, len(data), len(header)))
        body = header + data
        data = struct.pack("<BHH", 0, len(header), 0xFFFF ^ len(header)) + body
    whole = packed(parts)
    start, records, end = _records(whole)
    offset, extra = start, []
    for name, length, head in reversed(lengths):
        extra.append(
            struct.pack(
                "<4s6H3L5H2L",
                b"PK\x01\x02",
                20,
                20,
                0,
                8,
                0,
                33,
                0,
                length,
                len(unpacked),
                len(name),
                0,
                0,
                0,
                0,
                0,
                offset,
            )
            + name
        )
        offset += head + 5
    records += extra
    count = struct.pack("<2H2L", len(records), len(records), sum(map(len, records)), start + len(body))
    return whole[:start] + body + b"".join(records) + end[:8] + count + end[20:]


def _nested(parts: Parts, size: float) -> None:
    """A zip file in the zip file, of zip files that unpack to very much: nobody unpacks it."""
    inner = packed({f"{number}.bin": bytes(int(50e6 * size)) for number in range(4)})
    parts["xl/embeddings/inner.zip"] = packed({f"{number}.zip": inner for number in range(20)})


def _lie(member: str, change: Callable[[int], int]) -> Callable[[Parts, float], bytes]:
    """Say another unpacked size, in both headers."""

    def plant(parts: Parts, size: float) -> bytes:
        data = bytearray(packed(parts))
        with zipfile.ZipFile(BytesIO(data)) as archive:
            info = archive.getinfo(member)
        said = struct.pack("<L", change(info.file_size))
        data[info.header_offset + 22 : info.header_offset + 26] = said
        at = data.rindex(member.encode()) - 46
        assert data[at : at + 4] == b"PK\x01\x02"
        data[at + 24 : at + 28] = said
        return bytes(data)

    return plant


def _hidden_bomb(member: str) -> Callable[[Parts, float], bytes]:
    def plant(parts: Parts, size: float) -> bytes:
        true = len(parts[member])
        parts[member] += b" " * int(2e9 * size)
        return _lie(member, lambda _: true)(parts, size)

    return plant


def _other_name(member: str) -> Callable[[Parts, float], bytes]:
    def plant(parts: Parts, size: float) -> bytes:
        data = packed(parts)
        at = data.index(member.encode())
        return data[:at] + b"Z" + data[at + 1 :]

    return plant


def _twice(member: str, changed: Callable[[str], str] = str) -> Callable[[Parts, float], bytes]:
    def plant(parts: Parts, size: float) -> bytes:
        marked = changed(member) if changed is not str else "?" * len(member)
        data = packed(parts | {marked: parts[member]})
        return data.replace(marked.encode(), member.encode()) if changed is str else data

    return plant


# Planting in workbooks.

RELATION = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/"
TARGETS = (
    *("../../../../etc/passwd", "/etc/passwd", "file:///etc/passwd", "C:\\Windows\\win.ini", "..\\..\\x"),
    *("%2e%2e/%2e%2e/etc/passwd", "%00", "//server/share/x", "workbook.xml#x", "", ".", "x" * 100_000),
)


def targets() -> Iterator[Case]:
    """Relationships that lead out of the file, nowhere, or round in a circle."""
    for target in TARGETS:
        for part, old in (("_rels/.rels", "xl/workbook.xml"), ("xl/_rels/workbook.xml.rels", "")):

            def plant(
                parts: Parts, size: float, part: str = part, old: str = old, target: str = target
            ) -> None:
                pattern = (
                    rb'Target="(?:/xl/|xl/)?' + (b"workbook.xml" if old else b"worksheets/sheet3.xml") + b'"'
                )
                new = f'Target="{target}"'.encode()
                parts[part], count = re.subn(pattern, lambda _: new, parts[part])
                assert count == 1

            yield Case(f"target {target[:30]} in {part}", ".xlsx", plant, "?")

    def circle(parts: Parts, size: float) -> None:
        for name, target in ((SHEET, "../workbook.xml"), ("xl/x.xml", "x.xml")):
            folder, _, file = name.rpartition("/")
            parts[f"{folder}/_rels/{file}.rels"] = (
                '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
                f'<Relationship Id="rId1" Type="{RELATION}worksheet" Target="{target}"/>'
                f'<Relationship Id="rId2" Type="{RELATION}table" Target="{file}"/></Relationships>'
            ).encode()

    yield Case("relationships in a circle", ".xlsx", circle, None)

    def same_part(parts: Parts, size: float) -> None:
        parts["xl/_rels/workbook.xml.rels"] = parts["xl/_rels/workbook.xml.rels"].replace(
            b"sheet4.xml", b"sheet3.xml"
        )

    yield Case("two sheets of one part", ".xlsx", same_part, "twice")

    def same_title(parts: Parts, size: float) -> None:
        parts[BOOK] = parts[BOOK].replace(b'name="Blend"', b'name="Strength"')

    yield Case("two sheets of one name", ".xlsx", same_title, "twice")
    yield Case(
        "two sheets of one name",
        ".ods",
        lambda parts, size: put(
            parts, CONTENT, "<table:named-expressions", '<table:table table:name="Strength"/>'
        ),
        "twice",
    )


def _rows(count: float, row: Callable[[int], str], first: int = 200) -> bytes:
    return "".join(row(number) for number in range(first, first + int(count))).encode()


def _xlsx_rows(count: float, row: Callable[[int], str]) -> Callable[[Parts, float], None]:
    return lambda parts, size: put(parts, SHEET, "</sheetData>", _rows(count * size, row))


def _ods_rows(count: float, row: Callable[[int], str]) -> Callable[[Parts, float], None]:
    return lambda parts, size: strength_table(parts, _rows(count * size, row))


def sizes() -> Iterator[Case]:
    """Very many rows, cells, formats, sheets, names, merged areas; very long texts; very deep nests."""
    attributes = 'spans="1:19" s="1" customFormat="1" ht="15" x14ac:dyDescent="0.25"'.replace(
        "x14ac:dyDescent", "hidden"
    )
    formatted = _xlsx_rows(1_000_000, lambda n: f'<row r="{n}" {attributes}/>')
    yield Case("a million formatted rows", ".xlsx", formatted, None)
    cells = _xlsx_rows(1_000_000, lambda n: f'<row r="{n}"><c r="A{n}" s="1"/><c r="S{n}" s="2"/></row>')
    yield Case("a million rows with blank cells", ".xlsx", cells, "?held in memory")
    columns = "ABCDEFGHIJKLMNOPQ"
    numbers = _xlsx_rows(
        50_000,
        lambda n: f'<row r="{n}">' + "".join(f'<c r="Z{c}{n}"><v>{n}</v></c>' for c in columns) + "</row>",
    )
    yield Case("almost a million numbers", ".xlsx", numbers, None)
    records = _xlsx_rows(
        18_000,
        lambda n: (
            f'<row r="{n}"><c r="A{n}"><v>{n}</v></c><c r="B{n}"><v>5</v></c><c r="C{n}"><v>60</v></c></row>'
        ),
    )
    yield Case("18,000 records", ".xlsx", records, None)
    too_many = _xlsx_rows(250_000, lambda n: f'<row r="{n}"><c r="B{n}"><v>5</v></c></row>')
    yield Case("250,000 records", ".xlsx", too_many, "more than 20,000")
    bare = _xlsx_rows(300, lambda n: f"<row r='{n}'>{'<c/>' * 16_000}</row>")
    yield Case("bare cells of four bytes", ".xlsx", bare, "?held in memory")
    spread = " ".join(f'a{number}="1"' for number in range(200))
    yield Case("attributes", ".xlsx", _xlsx_rows(100_000, lambda n: f'<row r="{n}" {spread}/>'), "?")
    repeated = (
        '<table:table-row table:number-rows-repeated="1048000"><table:table-cell {}/></table:table-row>'
    )
    yield Case(
        "a million repeated blank rows", ".ods", lambda p, s: strength_table(p, repeated.format("")), None
    )
    styled = repeated.format('table:style-name="ce4" table:number-columns-repeated="16384"')
    yield Case("a million repeated formatted rows", ".ods", lambda p, s: strength_table(p, styled), None)
    filled = repeated.format(
        'office:value-type="float" office:value="5" table:number-columns-repeated="16384"'
    )
    yield Case("repeated rows of repeated cells", ".ods", lambda p, s: strength_table(p, filled), "?")
    said = repeated.format('office:value-type="string" office:string-value="5 L"')
    yield Case(
        "an entry repeated a million times", ".ods", lambda p, s: strength_table(p, said), "more than 20,000"
    )
    for count in ("0", "-1", "99999999999999999999", "1e9", "16777217", "9" * 5000, "٣"):
        row = f'<table:table-row table:number-rows-repeated="{count}"><table:table-cell/></table:table-row>'
        yield Case(
            f"rows repeated {count[:20]}", ".ods", lambda p, s, row=row: strength_table(p, row), "senseless"
        )
        cell = (
            f'<table:table-row><table:table-cell table:number-columns-repeated="{count}"/></table:table-row>'
        )
        yield Case(
            f"cells repeated {count[:20]}",
            ".ods",
            lambda p, s, cell=cell: strength_table(p, cell),
            "senseless",
        )
    single = _ods_rows(
        1_000_000,
        lambda n: f'<table:table-row table:style-name="ro{n}"><table:table-cell/></table:table-row>',
    )
    yield Case("a million rows each by itself", ".ods", single, "?held in memory")
    for length in (32_768, 1_000_000, 9_000_000):
        text = "x" * length
        yield Case(
            f"text of {length:,} in an entry",
            ".xlsx",
            entry(f"<is><t>{text}</t></is>", "A6", 't="inlineStr"'),
            None,
        )
        yield Case(f"text of {length:,} as a number", ".xlsx", entry(f"<v>{'9' * length}</v>"), None)
        yield Case(
            f"text of {length:,} as a unit",
            ".xlsx",
            entry(f"<is><t>{text}</t></is>", "B5", 't="inlineStr"'),
            None,
        )
        yield Case(
            f"text of {length:,} as a heading",
            ".xlsx",
            entry(f"<is><t>{text}</t></is>", "B4", 't="inlineStr"'),
            None,
        )
        yield Case(
            f"text of {length:,} in an entry",
            ".ods",
            ods_entry('office:value-type="string"', f"<text:p>{text}</text:p>"),
            None,
        )
        yield Case(
            f"{length:,} spaces",
            ".xlsx",
            entry(f"<is><t>1{' ' * length}x</t></is>", "B6", 't="inlineStr"'),
            None,
        )
    much = "".join(map(str, range(5_000_000)))[:32_000_000]
    long = f"<is><t>{much}</t></is>"
    yield Case("text of 32 MB", ".xlsx", entry(long, "A6", 't="inlineStr"'), "damaged")
    yield Case(
        "text of 32 MB",
        ".ods",
        ods_entry('office:value-type="string"', f"<text:p>{much}</text:p>"),
        "damaged",
    )
    gap = "<text:s text:c='999999999'/>"
    yield Case(
        "spaces by the billion",
        ".ods",
        ods_entry('office:value-type="string"', f"<text:p>{gap * 10_000}</text:p>"),
        None,
    )

    def one_text_everywhere(parts: Parts, size: float) -> None:
        _shared_strings("", "y" * 9_000_000)(parts, size)
        put(parts, SHEET, "</sheetData>", _rows(400 * size, lambda n: f'<row r="{n}">{_everywhere(n)}</row>'))

    yield Case("one long text in many cells", ".xlsx", one_text_everywhere, "?")
    for depth, refusal in ((200, None), (100_000, "damaged")):
        deep = "<x>" * depth + "</x>" * depth
        yield Case(
            f"nested {depth} deep",
            ".xlsx",
            lambda p, s, deep=deep: put(p, SHEET, "</worksheet>", deep),
            refusal,
        )
        rich = "<r>" * depth + "<t>a</t>" + "</r>" * depth
        yield Case(
            f"rich text {depth} deep", ".xlsx", entry(f"<is>{rich}</is>", "A6", 't="inlineStr"'), refusal
        )
        spans = "<text:span>" * depth + "a" + "</text:span>" * depth
        yield Case(
            f"spans {depth} deep",
            ".ods",
            ods_entry('office:value-type="string"', f"<text:p>{spans}</text:p>"),
            refusal,
        )
        groups = "<table:table-row-group>" * depth + "</table:table-row-group>" * depth
        yield Case(
            f"row groups {depth} deep", ".ods", lambda p, s, groups=groups: strength_table(p, groups), refusal
        )
    merged = "".join(f'<mergeCell ref="A{n}:XFD1048576"/>' for n in range(1, 5000))
    yield Case(
        "huge merged areas",
        ".xlsx",
        lambda p, s: put(p, SHEET, "<pageMargins", f"<mergeCells>{merged}</mergeCells>"),
        None,
    )
    wide = "".join('<col min="1" max="16384" width="9" style="11"/>' for _ in range(20_000))
    yield Case("columns stated 20,000 times", ".xlsx", lambda p, s: put(p, SHEET, "</cols>", wide), None)
    formats = "".join(f'<numFmt numFmtId="{n}" formatCode="{"[" * 9000}"/>' for n in range(200, 300))
    yield Case(
        "formats of brackets",
        ".xlsx",
        _replaced(STYLES, b"<fonts", f"<numFmts>{formats}</numFmts><fonts"),
        None,
    )

    def many_sheets(parts: Parts, size: float) -> None:
        namespace = 'xmlns:r="http://schemas.openxmlformats.org/officeDocument/2006/relationships"'
        numbers = range(100, 100 + int(9_900 * size))
        sheets = "".join(f'<sheet {namespace} name="S{n}" sheetId="{n}" r:id="x{n}"/>' for n in numbers)
        put(parts, BOOK, "</sheets>", sheets)
        relations = "".join(
            f'<Relationship Id="x{n}" Type="{RELATION}worksheet" Target="worksheets/s{n}.xml"/>'
            for n in numbers
        )
        put(parts, "xl/_rels/workbook.xml.rels", "</Relationships>", relations)
        main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
        one = f'<worksheet xmlns="{main}"><sheetData><row><c><f>INDIRECT("S100!A1")</f></c></row></sheetData></worksheet>'
        parts |= {f"xl/worksheets/s{n}.xml": one.encode() for n in numbers}

    yield Case("10,000 sheets", ".xlsx", many_sheets, None)
    tables = lambda size: "".join(
        f'<table:table table:name="S{n}"><table:table-row><table:table-cell table:formula="of:=INDIRECT(1)"/></table:table-row></table:table>'
        for n in range(int(10_000 * size))
    )
    yield Case(
        "10,000 sheets", ".ods", lambda p, s: put(p, CONTENT, "<table:named-expressions", tables(s)), None
    )


def _everywhere(row: int) -> str:
    return "".join(
        f'<c r="{a}{b}{row}" t="s"><v>0</v></c>' for a in "TUV" for b in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    )


def _replaced(part: str, old: bytes, new: str) -> Callable[[Parts, float], None]:
    def plant(parts: Parts, size: float) -> None:
        assert parts[part].count(old) == 1
        parts[part] = parts[part].replace(old, new.encode())

    return plant


VALUES = (
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
    *("2026-02-30T25:61:00", "", "today", "0001-01-01"),
)


def values() -> Iterator[Case]:
    """Absurd numbers, dates, styles, indexes and references in entry cells."""
    for value in VALUES:
        shown = value[:20]
        yield Case(f"number {shown}", ".xlsx", entry(f"<v>{value}</v>"), None)
        yield Case(f"number {shown} as a date", ".xlsx", _dated(value), None)
        yield Case(f"shared text {shown}", ".xlsx", _shared_index(value), None)
        yield Case(f"style {shown}", ".xlsx", _styled(value), None)
        yield Case(
            f"number {shown}", ".ods", ods_entry(f'office:value-type="float" office:value="{value}"'), None
        )
        yield Case(
            f"percentage {shown}",
            ".ods",
            ods_entry(f'office:value-type="percentage" office:value="{value}"'),
            None,
        )
        yield Case(f"matrix {shown}", ".ods", _matrix(value), None)
    for date in DATES:
        yield Case(f"date {date}", ".xlsx", entry(f"<v>{date}</v>", "B6", 't="d"'), None)
        yield Case(
            f"date {date}", ".ods", ods_entry(f'office:value-type="date" office:date-value="{date}"'), None
        )
    for duration in ("PT99999999999999H", "-P1D", "P999999999D", "P", "PT" + "9" * 5000 + "S", "P1Y"):
        yield Case(
            f"time {duration[:20]}",
            ".ods",
            ods_entry(f'office:value-type="time" office:time-value="{duration}"'),
            None,
        )
    for name in (
        "ZZZZ99999999",
        "A0",
        "XFE6",
        "B7",
        "B1048577",
        "6B",
        "",
        "B6:B7",
        "$B$6",
        "B6\n",
        "É6",
        "B²",
    ):
        yield Case(f"cell named {name!r}", ".xlsx", _renamed_cell(name), "?")
    for number in ("0", "-1", "1048577", "1e3", "9" * 5000, "²", "", "7"):
        yield Case(f"row numbered {number[:20]!r}", ".xlsx", _renumbered_row(number), "valid")
    calculation = (
        '<calcPr calcId="99999999999999999999" calcMode="never" iterateCount="-5" fullCalcOnLoad="maybe"/>'
    )
    yield Case("calculation settings", ".xlsx", lambda p, s: put(p, BOOK, "</workbook>", calculation), None)


def _dated(value: str) -> Callable[[Parts, float], None]:
    def plant(parts: Parts, size: float) -> None:
        styles = parts[STYLES].decode()
        at = styles.index("</cellXfs>")
        count = styles[styles.index("<cellXfs") : at].count("<xf ")
        parts[STYLES] = f'{styles[:at]}<xf numFmtId="14"/>{styles[at:]}'.encode()
        cell = re.compile(rb'<c r="([A-D]6)"[^>]*?(?:/>|>.*?</c>)')
        parts[SHEET] = cell.sub(rf'<c r="\1" s="{count}"><v>{value}</v></c>'.encode(), parts[SHEET])

    return plant


def _shared_index(value: str) -> Callable[[Parts, float], None]:
    def plant(parts: Parts, size: float) -> None:
        _shared_strings("", "x")(parts, size)
        entry(f"<v>{value}</v>", "B6", 't="s"')(parts, size)

    return plant


def _styled(value: str) -> Callable[[Parts, float], None]:
    def plant(parts: Parts, size: float) -> None:
        styled = re.compile(rb'<c r="([A-S][67])" s="\d+"')
        parts[SHEET] = styled.sub(rb'<c r="\1" s="' + value.encode() + b'"', parts[SHEET])
        columns = re.compile(rb'style="\d+" min="\d+" max="\d+"')
        new = f'style="{value}" min="{value}" max="{value}"'.encode()
        parts[SHEET] = columns.sub(lambda _: new, parts[SHEET])

    return plant


def _matrix(value: str) -> Callable[[Parts, float], None]:
    spans = f'table:number-matrix-rows-spanned="{value}" table:number-matrix-columns-spanned="{value}"'
    cell = f'<table:table-cell table:formula="of:=[.A6]" {spans} office:value-type="float" office:value="1"/>'
    blank = '<table:table-cell table:number-columns-repeated="25"/>'
    return lambda parts, size: strength_table(parts, f"<table:table-row>{blank}{cell}</table:table-row>" * 50)


def _renamed_cell(name: str) -> Callable[[Parts, float], None]:
    def plant(parts: Parts, size: float) -> None:
        assert parts[SHEET].count(b'r="B6"') == 1
        parts[SHEET] = parts[SHEET].replace(b'r="B6"', f'r="{name}"'.encode())

    return plant


def _renumbered_row(number: str) -> Callable[[Parts, float], None]:
    def plant(parts: Parts, size: float) -> None:
        assert parts[SHEET].count(b'<row r="6"') == 1
        parts[SHEET] = parts[SHEET].replace(b'<row r="6"', f'<row r="{number}"'.encode())

    return plant


def formulas() -> Iterator[Case]:
    """Names and formulas in circles and chains, made to keep a reader busy, over areas of any size."""
    columns = [a + b for a in "ABCDEF" for b in "ABCDEFGHIJKLMNOPQRSTUVWXYZ"]

    def cells(
        count: float, formula: Callable[[int], str], attributes: str = ""
    ) -> Callable[[Parts, float], None]:
        return _xlsx_rows(
            count, lambda n: f'<row r="{n}"><c r="AA{n}"><f{attributes}>{formula(n)}</f><v>1</v></c></row>'
        )

    def ods_cells(count: float, formula: Callable[[int], str]) -> Callable[[Parts, float], None]:
        blank = '<table:table-cell table:number-columns-repeated="26"/>'
        value = 'office:value-type="float" office:value="1"'
        return _ods_rows(
            count,
            lambda n: (
                f'<table:table-row>{blank}<table:table-cell table:formula="of:={formula(n)}" {value}/></table:table-row>'
            ),
        )

    both: dict[str, tuple[float, Callable[[int], str], Callable[[int], str]]] = {
        "a circle": (2, lambda n: f"G6+AA{401 - n}", lambda n: f"[.G6]+[.AA{401 - n}]"),
        "a long chain": (100_000, lambda n: f"G6+AA{n - 1}", lambda n: f"[.G6]+[.AA{n - 1}]"),
        "a long chain of blocks": (
            50_000,
            lambda n: f"SUM(AA{n + 1}:AA{n + 3},G6)",
            lambda n: f"SUM([.AA{n + 1}:.AA{n + 3}];[.G6])",
        ),
        "running totals": (50_000, lambda n: f"SUM(G$6:G{n})", lambda n: f"SUM([.G$6:.G{n}])"),
        "all the sheet": (20_000, lambda n: "SUM(A1:XFD1048576)", lambda n: "SUM([.A1:.XFD1048576])"),
        "odd areas": (20_000, lambda n: f"SUM(B2:XEF{n * 7})", lambda n: f"SUM([.B2:.XEF{n * 7}])"),
        "quotes": (3_000, lambda n: "'" * 8001, lambda n: "['" + "''" * 4000),
        "brackets": (3_000, lambda n: "[" * 8001, lambda n: "[" * 8001),
        "unclosed texts": (3_000, lambda n: "&quot;" + "x" * 8001, lambda n: "&quot;" + "x" * 8001),
        "addresses that are computed": (50_000, lambda n: "INDIRECT(G6)", lambda n: "INDIRECT([.G6])"),
        "one of nine million letters": (
            1,
            lambda n: "G6+" * 3_000_000 + "1",
            lambda n: "[.G6]+" * 1_500_000 + "1",
        ),
    }
    for name, (count, excel, document) in both.items():
        # What is about one formula keeps its number in the small size, too.
        few = (lambda plant: lambda parts, size: plant(parts, 1)) if count < 10 else (lambda plant: plant)
        yield Case(f"formulas: {name}", ".xlsx", few(cells(count, excel)), None)
        yield Case(f"formulas: {name}", ".ods", few(ods_cells(count, document)), None)
    shared = lambda n: "G6+" * 2000 + "1" if n == 200 else ""  # noqa: E731
    yield Case(
        "formulas: one long one shared by all", ".xlsx", cells(200_000, shared, ' t="shared" si="0"'), None
    )
    for name, area in {
        "all the sheet": "A1:XFD1048576",
        "beyond it": "A1:ZZZ9999999",
        "nothing": "#REF!",
    }.items():
        attributes = f' t="array" ref="{area}"'
        yield Case(f"array formulas over {name}", ".xlsx", cells(20_000, lambda n: "G6", attributes), "?")
    many = _xlsx_rows(
        1_000,
        lambda n: (
            f'<row r="{n}">'
            + "".join(
                f'<c r="{c}{n}"><f t="array" ref="{c}{n}:{c}{n + 1}">G6</f><v>1</v></c>' for c in columns
            )
            + "</row>"
        ),
    )
    yield Case("array formulas, very many", ".xlsx", many, None)

    def names(count: int, text: Callable[[int], str]) -> Callable[[Parts, float], None]:
        def plant(parts: Parts, size: float) -> None:
            number = max(40, int(count * size))
            defined = "".join(f'<definedName name="n{i}">{text(i)}</definedName>' for i in range(number))
            put(parts, BOOK, "</definedNames>", defined)
            cells(100, lambda n: f"n0+n{number // 2}")(parts, 1)

        return plant

    def ods_names(count: int, text: Callable[[int], str]) -> Callable[[Parts, float], None]:
        def plant(parts: Parts, size: float) -> None:
            number = max(40, int(count * size))
            defined = "".join(
                f'<table:named-expression table:name="n{i}" table:expression="of:={text(i)}"/>'
                for i in range(number)
            )
            put(parts, CONTENT, "</table:named-expressions>", defined)
            ods_cells(100, lambda n: f"n0+n{number // 2}")(parts, 1)

        return plant

    for name, (count, text) in {
        "themselves": (40, lambda i: f"n{i}"),
        "a circle": (40, lambda i: f"n{(i + 1) % 40}"),
        "a chain": (100_000, lambda i: f"n{i + 1}"),
        "each other, ten times each": (40, lambda i: "+".join([f"n{i + 1}"] * 10)),
        "all others": (40, lambda i: "+".join(f"n{j}" for j in range(40))),
        "long texts": (40, lambda i: "n1+" * 20_000 + "1"),
    }.items():
        yield Case(f"names that stand for {name}", ".xlsx", names(count, text), None)
        yield Case(f"names that stand for {name}", ".ods", ods_names(count, text), None)
    yield Case("100,000 names", ".xlsx", names(100_000, lambda i: "'Strength'!$A$9"), None)
    yield Case("100,000 names", ".ods", ods_names(100_000, lambda i: "[$Strength.$A$9]"), None)


def cases() -> list[Case]:
    """Everything that is planted."""
    return [*declarations(), *archives(), *targets(), *sizes(), *values(), *formulas()]


# A fill within bounds.


@contextlib.contextmanager
def bounded() -> Iterator[Callable[[Path], Outcome]]:
    """A function that fills a workbook in a process of its own, which may take so much memory and time and no more."""
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    command = [sys.executable, str(Path(__file__)), "--serve"]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment
    ) as server:
        assert server.stdin and server.stdout
        orders, answers = server.stdin, server.stdout

        def fill(path: Path) -> Outcome:
            orders.write(f"{path}\n")
            orders.flush()
            return Outcome(*json.loads(answers.readline()))

        yield fill
        orders.close()


def serve() -> None:
    """Fill the workbooks that are named on standard input, each in a fork with bounds."""
    from sheetcalc import files, stages  # noqa: F401 - what a fill needs is there before the fork
    from sheetcalc.fill import fill

    for line in sys.stdin:
        out, into = os.pipe()
        child = os.fork()
        if child == 0:
            resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
            resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
            try:
                said = ["filled", f"{len(fill(Path(line.rstrip())))} findings"]
            except files.BadWorkbook as trouble:
                said = ["refused", str(trouble)]
            except BaseException:  # told to whoever asked
                said = ["bug", traceback.format_exc()]
            os.write(into, json.dumps(said).encode()[:60_000])
            os._exit(0)
        os.close(into)
        with os.fdopen(out, "rb") as pipe:
            said = json.loads(pipe.read() or b'["bug", "killed: out of time or memory"]')
        _, _, used = os.wait4(child, 0)
        print(json.dumps([*said, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024]), flush=True)


def main(part: str) -> int:
    """Measure the cases at their full size."""
    worst, bugs = [0.0, 0.0], 0
    with tempfile.TemporaryDirectory() as name, bounded() as fill:
        folder = Path(name)
        sources: dict[str, Path] = {ending: make(folder, ending) for ending in (".xlsx", ".ods")}
        chosen = [case for case in cases() if part in f"{case.name} {case.ending}"]
        for case in chosen:
            start = time.time()
            path = planted(case, sources[case.ending], folder / f"planted{case.ending}", 1.0)
            length = path.stat().st_size
            outcome = fill(path)
            expected = case.refusal is None and outcome.how == "filled"
            expected |= case.refusal is not None and (case.refusal[0] == "?" or case.refusal in outcome.told)
            bugs += outcome.how == "bug" or not expected
            worst = [max(worst[0], outcome.seconds), max(worst[1], outcome.megabytes)]
            slow = (
                outcome.seconds > 5 or outcome.megabytes > 500 or not expected or outcome.how == "bug" or part
            )
            if slow:
                told = outcome.told if outcome.how != "filled" else ""
                print(
                    f"{outcome.seconds:6.1f} s {outcome.megabytes:6.0f} MB {length / 2**20:6.1f} MB packed  {case.ending:5} "
                    f"{case.name}: {outcome.how} {told[-600:]}{'' if expected else '  <-- NOT EXPECTED'}  [{time.time() - start:.0f} s]",
                    flush=True,
                )
    print(f"{len(chosen)} cases, {bugs} bugs; at most {worst[0]:.1f} s and {worst[1]:.0f} MB")
    return int(bugs > 0)


if __name__ == "__main__":
    if sys.argv[1:] == ["--serve"]:
        serve()
    else:
        sys.exit(main(" ".join(sys.argv[1:])))
