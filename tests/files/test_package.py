"""The zip container: what is refused, what is copied, and how a file is replaced."""

import errno
import os
import stat
import struct
import zipfile
import zlib
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from files.workbook_samples import CORPUS, raw_members, with_parts, write_ods, write_xlsx

from sheetcalc.files import BadWorkbook, open_lock, open_workbook, package

TABLE = '<table:table table:name="Data"><table:table-row><table:table-cell/></table:table-row></table:table>'


@pytest.fixture
def xlsx(tmp_path: Path) -> Path:
    def fill(book: Any, sheet: Any) -> None:
        sheet.write("A1", 5)
        sheet.write("B1", "text")
        sheet.insert_image("D4", "dot.png", {"image_data": _png()})
        chart = book.add_chart({"type": "line"})
        chart.add_series({"values": "=Data!$A$1:$A$3"})
        sheet.insert_chart("F2", chart)

    return write_xlsx(tmp_path / "log.xlsx", fill)


def _png() -> Any:
    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = struct.pack(">2I5B", 1, 1, 8, 0, 0, 0, 0)
    body = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0\0")) + chunk(b"IEND", b"")
    return BytesIO(b"\x89PNG\r\n\x1a\n" + body)


def refusal(path: Path) -> str:
    with pytest.raises(BadWorkbook) as caught:
        book = open_workbook(path)
        for sheet in book.sheets:
            book.cells(sheet)
    message = str(caught.value)
    assert "\n" not in message and message.endswith(".") and str(path) not in message
    return message


def edit(path: Path) -> None:
    book = open_workbook(path)
    book.write("Data", 1, 1, 6)
    book.save()


def litter(folder: Path) -> list[str]:
    return sorted(entry.name for entry in folder.iterdir() if entry.name.endswith(".tmp"))


def test_untouched_members_keep_their_bytes_and_order(xlsx: Path) -> None:
    before = raw_members(xlsx)
    with zipfile.ZipFile(xlsx) as archive:
        listing = [(i.filename, i.date_time, i.external_attr, i.compress_type) for i in archive.infolist()]
    edit(xlsx)
    after = raw_members(xlsx)
    assert {name for name in before if before[name] != after[name]} == {"xl/worksheets/sheet1.xml"}
    with zipfile.ZipFile(xlsx) as archive:
        assert archive.testzip() is None
        again = [(i.filename, i.date_time, i.external_attr, i.compress_type) for i in archive.infolist()]
    assert listing == again


def test_data_descriptors_comments_and_extra_fields_survive(xlsx: Path, tmp_path: Path) -> None:
    odd = tmp_path / "odd.xlsx"
    raw = _Unseekable()
    with zipfile.ZipFile(xlsx) as old, zipfile.ZipFile(raw, "w", zipfile.ZIP_DEFLATED) as new:
        new.comment = b"of an archive"
        for name in old.namelist():
            info = zipfile.ZipInfo(name, (2001, 2, 3, 4, 5, 6))
            info.comment = b"of a member"
            info.compress_type = zipfile.ZIP_DEFLATED
            info.extra = struct.pack("<2H2s", 0xCAFE, 2, b"ab")
            new.writestr(info, old.read(name))
    odd.write_bytes(raw.getvalue())
    before = raw_members(odd)
    edit(odd)
    after = raw_members(odd)
    assert {name for name in before if before[name] != after[name]} == {"xl/worksheets/sheet1.xml"}
    with zipfile.ZipFile(odd) as archive:
        assert archive.comment == b"of an archive" and archive.testzip() is None
        assert {(i.comment, i.extra[:6]) for i in archive.infolist()} == {
            (b"of a member", b"\xfe\xca\x02\x00ab")
        }


class _Unseekable(BytesIO):
    """Makes zipfile write sizes behind the data."""

    def seekable(self) -> bool:
        return False

    def tell(self) -> int:
        raise OSError

    def seek(self, *_: int) -> int:
        raise OSError


def test_ods_mimetype_stays_first_and_stored(tmp_path: Path) -> None:
    path = write_ods(tmp_path / "log.ods", TABLE)
    edit(path)
    with zipfile.ZipFile(path) as archive:
        first = archive.infolist()[0]
    assert (first.filename, first.compress_type, first.header_offset) == ("mimetype", zipfile.ZIP_STORED, 0)


def test_an_equal_value_leaves_the_file_alone(xlsx: Path) -> None:
    before, seen = xlsx.read_bytes(), xlsx.stat().st_mtime_ns
    book = open_workbook(xlsx)
    book.write("Data", 1, 1, 5.0)
    book.write("Data", 1, 2, "text")
    book.write("Data", 7, 7, None)
    assert not book.changed
    book.save()
    assert xlsx.read_bytes() == before and xlsx.stat().st_mtime_ns == seen


def test_saving_elsewhere(xlsx: Path, tmp_path: Path) -> None:
    before = xlsx.read_bytes()
    book = open_workbook(xlsx)
    book.save(tmp_path / "copy.xlsx")
    assert (tmp_path / "copy.xlsx").read_bytes() == before
    book.write("Data", 1, 1, 6)
    book.save(tmp_path / "filled.xlsx")
    assert xlsx.read_bytes() == before and book.changed
    assert open_workbook(tmp_path / "filled.xlsx").cells("Data")[1, 1].value == 6


def test_saving_twice(xlsx: Path) -> None:
    book = open_workbook(xlsx)
    for value in (6, 7):
        book.write("Data", 1, 1, value)
        book.save()
        assert not book.changed
        assert open_workbook(xlsx).cells("Data")[1, 1].value == value


def test_permissions_and_links_are_kept(xlsx: Path, tmp_path: Path) -> None:
    xlsx.chmod(0o640)
    (tmp_path / "elsewhere").mkdir()
    link = tmp_path / "elsewhere" / "link.xlsx"
    link.symlink_to(xlsx)
    edit(link)
    assert link.is_symlink() and not xlsx.is_symlink()
    assert stat.S_IMODE(xlsx.stat().st_mode) == 0o640
    assert open_workbook(xlsx).cells("Data")[1, 1].value == 6
    assert litter(tmp_path) == litter(tmp_path / "elsewhere") == []


@pytest.mark.parametrize(
    ("step", "code", "word"),
    [
        ("replace", errno.EACCES, "permissions"),
        ("fsync", errno.ENOSPC, "disk is full"),
        ("fsync", errno.EIO, "as it was"),
    ],
)
def test_failure_leaves_the_old_file_and_no_litter(
    xlsx: Path, monkeypatch: pytest.MonkeyPatch, step: str, code: int, word: str
) -> None:
    before = xlsx.read_bytes()

    def fail(*_: Any) -> None:
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(os, step, fail)
    with pytest.raises(BadWorkbook, match=word):
        edit(xlsx)
    monkeypatch.undo()
    assert xlsx.read_bytes() == before
    assert litter(xlsx.parent) == []


def test_interruption_leaves_no_litter(xlsx: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(*_: Any) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "replace", interrupt)
    with pytest.raises(KeyboardInterrupt):
        edit(xlsx)
    assert litter(xlsx.parent) == []


def test_missing_folder_and_folder_in_the_way(xlsx: Path, tmp_path: Path) -> None:
    book = open_workbook(xlsx)
    with pytest.raises(BadWorkbook, match="folder to write to"):
        book.save(tmp_path / "nowhere" / "log.xlsx")
    with pytest.raises(BadWorkbook, match="folder of that name"):
        book.save(tmp_path)


def test_write_protection_is_respected(xlsx: Path) -> None:
    xlsx.chmod(0o444)
    with pytest.raises(BadWorkbook, match="write-protected"):
        edit(xlsx)


def test_a_file_changed_meanwhile_is_not_overwritten(xlsx: Path) -> None:
    book = open_workbook(xlsx)
    book.write("Data", 1, 1, 6)
    other = xlsx.read_bytes() + b"\0"
    xlsx.write_bytes(other)
    with pytest.raises(BadWorkbook, match="changed by another program"):
        book.save()
    assert xlsx.read_bytes() == other
    xlsx.unlink()
    with pytest.raises(BadWorkbook, match="moved or removed"):
        book.save()


def test_lock_files_are_seen(xlsx: Path) -> None:
    assert open_lock(xlsx) is None
    (xlsx.parent / ".~lock.log.xlsx#").touch()
    assert open_lock(xlsx) == xlsx.parent / ".~lock.log.xlsx#"
    (xlsx.parent / "~$log.xlsx").touch()
    assert open_lock(xlsx) == xlsx.parent / "~$log.xlsx"


def test_what_is_no_workbook_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "log.xlsx"
    assert "no such file" in refusal(path)
    assert "folder" in refusal(tmp_path)
    path.write_bytes(b"")
    assert "empty" in refusal(path)
    path.write_text("reading;temperature\n1.080;20\n")
    assert "neither" in refusal(path)
    path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600))
    assert ".xls" in refusal(path) and "password" in refusal(path)
    path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + "EncryptedPackage".encode("utf-16-le"))
    assert "password" in refusal(path)
    with zipfile.ZipFile(path, "w"):
        pass
    assert "empty archive" in refusal(path)
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("notes.txt", "hello")
    assert "another kind" in refusal(path)


def test_documents_that_are_no_spreadsheets_are_refused(xlsx: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    word = b'<w:document xmlns:w="http://schemas.openxmlformats.org/wordprocessingml/2006/main"/>'
    assert "another kind" in refusal(with_parts(xlsx, other, {"xl/workbook.xml": lambda _: word}))
    binary = {"_rels/.rels": lambda data: data.replace(b"xl/workbook.xml", b"xl/workbook.bin")}
    assert ".xlsb" in refusal(with_parts(xlsx, other, binary))
    ods = write_ods(tmp_path / "log.ods", TABLE)
    text = {"mimetype": lambda _: b"application/vnd.oasis.opendocument.text"}
    assert "another kind" in refusal(with_parts(ods, other, text))
    secret = {
        "META-INF/manifest.xml": lambda data: data.replace(
            b'text/xml"/>', b'text/xml"><manifest:encryption-data/></manifest:file-entry>'
        )
    }
    assert "password" in refusal(with_parts(ods, other, secret))
    drawing = {"content.xml": lambda data: data.replace(b"office:spreadsheet", b"office:drawing")}
    assert "no spreadsheet" in refusal(with_parts(ods, other, drawing))


def test_damaged_files_are_refused(xlsx: Path, tmp_path: Path) -> None:
    data = xlsx.read_bytes()
    other = tmp_path / "other.xlsx"
    for end in range(0, len(data) - 1, len(data) // 30):
        other.write_bytes(data[:end])
        refusal(other)
    truncated = {"xl/worksheets/sheet1.xml": lambda content: content[: len(content) // 2]}
    assert "damaged" in refusal(with_parts(xlsx, other, truncated))
    empty = {"xl/workbook.xml": lambda _: b""}
    assert "damaged" in refusal(with_parts(xlsx, other, empty))
    with zipfile.ZipFile(xlsx) as archive:
        at = archive.getinfo("xl/worksheets/sheet1.xml").header_offset + 60
    other.write_bytes(data[:at] + bytes(40) + data[at + 40 :])
    assert "damaged" in refusal(other)


@pytest.mark.parametrize("position", range(0, 4000, 37))
def test_a_flipped_byte_is_survived(xlsx: Path, position: int) -> None:
    data = bytearray(xlsx.read_bytes())
    data[-position % len(data)] ^= 0xFF
    xlsx.write_bytes(bytes(data))
    try:
        edit(xlsx)
    except (BadWorkbook, KeyError):
        return
    assert zipfile.is_zipfile(xlsx)


ENTITIES = (
    b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">'
    + b"".join(b'<!ENTITY %c "%s">' % (98 + i, b"&%c;" % (97 + i) * 10) for i in range(10))
    + b"]>"
)


@pytest.mark.parametrize("declared", [ENTITIES, b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]>'])
@pytest.mark.parametrize("member", ["xl/workbook.xml", "xl/worksheets/sheet1.xml", "_rels/.rels"])
def test_entities_are_refused(xlsx: Path, tmp_path: Path, declared: bytes, member: str) -> None:
    def declare(content: bytes) -> bytes:
        return content.replace(b"?>", b"?>" + declared, 1).replace(b'"1"', b'"&a;"', 1)

    refusal(with_parts(xlsx, tmp_path / "bomb.xlsx", {member: declare}))


def test_entities_in_ods_are_refused(tmp_path: Path) -> None:
    path = write_ods(tmp_path / "log.ods", TABLE)
    bomb = {
        "content.xml": lambda content: (
            ENTITIES + content.replace(b"table-cell/", b"table-cell>&k;</table:table-cell")
        )
    }
    refusal(with_parts(path, tmp_path / "bomb.ods", bomb))


def test_unsafe_archives_are_refused(xlsx: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    other = tmp_path / "other.xlsx"
    for name in ("../evil.txt", "/etc/evil", "a/../../b", "..\\evil", "C:/evil"):
        other.write_bytes(xlsx.read_bytes())
        with zipfile.ZipFile(other, "a") as archive:
            archive.writestr(name, "x")
        assert "unsafe" in refusal(other)
    other.write_bytes(xlsx.read_bytes())
    with zipfile.ZipFile(other, "a") as archive:
        archive.writestr("XL/workbook.xml", "x")
    assert "twice" in refusal(other)
    other.write_bytes(xlsx.read_bytes())
    with zipfile.ZipFile(other, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/zeros.bin", bytes(20 * 2**20))
    assert "suspicious" in refusal(other)
    monkeypatch.setattr(package, "MAX_MEMBERS", 3)
    assert "more than 3 parts" in refusal(xlsx)
    monkeypatch.undo()
    monkeypatch.setattr(package, "MAX_UNPACKED", 2**20)
    assert "unpacked" in refusal(other)
    monkeypatch.undo()
    monkeypatch.setattr(package, "MAX_FILE", 1000)
    assert "larger" in refusal(xlsx)
    monkeypatch.undo()
    monkeypatch.setattr(package, "MAX_PART", 100)
    assert "larger" in refusal(xlsx)


@pytest.mark.corpus
@pytest.mark.parametrize("ending", ["xlsx", "ods"])
def test_real_protected_workbooks_are_refused(ending: str) -> None:
    assert "password" in refusal(CORPUS / f"calamine-pass_protected.{ending}")
