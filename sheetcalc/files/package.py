"""The zip container of a workbook: read safely, written back with every untouched member byte for byte."""

import errno
import os
import re
import struct
import zipfile
import zlib
from collections.abc import Mapping
from io import BytesIO
from pathlib import Path

from lxml import etree

from sheetcalc.files.office_locks import refuse_open
from sheetcalc.files.replacing import create_file, replace_file
from sheetcalc.files.trouble import BadWorkbook as BadWorkbook
from sheetcalc.files.trouble import reason

MAX_FILE = 100 * 2**20
MAX_UNPACKED = 400 * 2**20
MAX_PART = 128 * 2**20
MAX_MEMBERS = 10_000
# Of zlib's levels: the usual 6 takes three times as long and makes a sheet a fifth smaller.
PACKING = 3
# What the parsed parts of one workbook may take in memory, as `_weight` reckons it.
MAX_WEIGHT = 2 * 2**30
# What one byte takes at most, were a part nothing but <a/> and a="".
MOST_WEIGHT = 3 + 350 / 4 + 230 / 4
# Deflate reaches about 1030:1; sheets of real workbooks stay below 100:1.
MAX_RATIO = 400
RATIO_COUNTS_FROM = 10 * 2**20

_LOCAL = struct.Struct("<4s5H3L2H")
_CENTRAL = struct.Struct("<4s4B4H3L5H2L")
_END = struct.Struct("<4s4H2LH")
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_ZIP64_EXTRA = 1
_NO_SIZE = 0xFFFFFFFF
_DESCRIPTOR_FOLLOWS = 8
# In these encodings markup stands as ASCII, perhaps with NULs between, and is seen before it is parsed.
_ENCODINGS = frozenset(
    {b"utf-8", b"utf8", b"utf-16", b"utf-16le", b"utf-16be", b"us-ascii", b"iso-8859-1", b"windows-1252"}
)
_BEGINNING = re.compile(
    rb"""[\xef\xbb\xbf\xff\xfe]{0,4}\s*<(?:\?xml\s[^<]*?encoding\s*=\s*["'](?P<encoding>[^"'<]*))?"""
)
_DECLARATIONS = re.compile(rb"""<!DOCTYPE(?:[^\[>"']|"[^"]*+"|'[^']*+')*+(?P<declared>\[)?""")


class Package:
    """The members of one zip file, held in memory.

    Reading is bounded: at most 100 MB packed, 400 MB unpacked, 10,000 members, no member over 10 MB that is
    packed better than 400:1; 128 MB for one part that is parsed, and 2 GB of memory for all of them.
    Nothing is unpacked beyond the size that stands in the file's listing.
    """

    def __init__(self, path: Path) -> None:
        """Read `path`; raises BadWorkbook when it is missing, no zip, damaged, protected or too large."""
        self.path = path
        self._weights: dict[str, int] = {}
        self._load(self._read_file())

    def _read_file(self) -> bytes:
        if self.path.is_dir():
            raise BadWorkbook("This is a folder, not a workbook; name the file inside it.")
        if self.path.exists() and not self.path.is_file():
            raise BadWorkbook("This is a pipe or a device, not a file; name the workbook itself.")
        try:
            with self.path.open("rb") as file:
                if os.fstat(file.fileno()).st_size > MAX_FILE:
                    raise BadWorkbook(
                        f"The file is larger than {MAX_FILE // 2**20} MB; remove pictures or old sheets."
                    )
                return file.read()
        except FileNotFoundError:
            if self.path.is_symlink():
                raise BadWorkbook(
                    f"This is a link to {self.path.readlink()}, which is not there; name the workbook itself."
                ) from None
            raise BadWorkbook("There is no such file; check the name and the folder.") from None
        except OSError as error:
            if error.errno == errno.ELOOP:
                raise BadWorkbook(
                    "This is a link that leads back to itself; name the workbook itself."
                ) from None
            raise BadWorkbook(
                f"The file can't be read ({reason(error)}); check its permissions and that it is not locked."
            ) from None

    def _load(self, data: bytes) -> None:
        _refuse_other_kinds(data)
        # Each record of the listing begins so; a workbook kept within the workbook may have as many again.
        _refuse_too_many(data.count(b"PK\x01\x02") // 2)
        try:
            archive = zipfile.ZipFile(BytesIO(data))
        except (zipfile.BadZipFile, NotImplementedError, ValueError, struct.error, OverflowError):
            raise BadWorkbook(
                "The file is damaged or incomplete; "
                "use a backup copy, or let the spreadsheet program repair it."
            ) from None
        self._data = data
        self._archive = archive
        self._members = archive.infolist()
        _check_members(self._members)
        self._may_be_heavy = MOST_WEIGHT * sum(info.file_size for info in self._members) > MAX_WEIGHT
        self._by_name = {info.orig_filename.casefold(): info for info in self._members}
        self._slices = self._find_slices()

    def _find_slices(self) -> dict[str, memoryview]:
        """The raw bytes of each member (header, data, whatever follows it), in the order of the file."""
        in_order = sorted(self._members, key=lambda info: info.header_offset)
        ends = [info.header_offset for info in in_order[1:]] + [self._archive.start_dir]
        slices = {}
        whole = memoryview(self._data)
        for info, end in zip(in_order, ends, strict=True):
            raw = whole[info.header_offset : end]
            if len(raw) < _LOCAL.size or not _agree(info, raw):
                raise BadWorkbook("The file is damaged; use a backup copy.")
            if len(raw) < _data_start(raw) + info.compress_size:
                raise BadWorkbook("The file is damaged; use a backup copy.")
            slices[info.orig_filename] = raw
        return slices

    @property
    def members(self) -> list[str]:
        """The names of all members, as the file lists them."""
        return [info.orig_filename for info in self._members]

    @property
    def signed(self) -> bool:
        """Whether there is a digital signature, which any change makes invalid."""
        return any(name.startswith(_SIGNATURES) for name in self.members)

    def __contains__(self, name: str) -> bool:
        return name.casefold() in self._by_name

    def read(self, name: str) -> bytes:
        """The unpacked bytes of member `name` (upper and lower case are alike).

        Raises BadWorkbook when it is missing, damaged, or too large to be parsed.
        """
        info = self._by_name.get(name.casefold())
        if info is None:
            raise BadWorkbook(
                f"The file lacks its part {brief(name)}; "
                "it is damaged or was not written by a spreadsheet program."
            )
        if info.file_size > MAX_PART:
            raise BadWorkbook(
                f"Its part {brief(name)} is larger than {MAX_PART // 2**20} MB; remove rows you don't need."
            )
        content = _unpacked(info, self._slices[info.orig_filename])
        if content is None or zlib.crc32(content) != info.CRC:
            raise BadWorkbook(f"Its part {brief(name)} is damaged; use a backup copy.")
        return content

    def xml(self, name: str, may_name_type: bool = False) -> etree._Element:
        """The root element of XML member `name`; where `may_name_type`, a document type may be named in it.

        Raises BadWorkbook when it is missing, not well-formed, too large to be held in memory, or holds
        declarations, the one place where entities could be declared (no spreadsheet program writes any).
        """
        data = self.read(name)
        if data.strip() and not _is_trusted(data, may_name_type):
            raise BadWorkbook(
                f"Its part {brief(name)} holds what no spreadsheet program writes, so the file is not "
                "trusted; save it again in your spreadsheet program."
            )
        if self._may_be_heavy:
            self._weights[name.casefold()] = _weight(data)
        if sum(self._weights.values()) > MAX_WEIGHT:
            raise BadWorkbook(
                f"The workbook has more rows and cells than can be held in memory (its part {brief(name)}); "
                "delete rows and columns that hold nothing but formats, and sheets you don't need."
            )
        parser = etree.XMLParser(
            resolve_entities=False,
            no_network=True,
            load_dtd=False,
            strip_cdata=False,
            remove_blank_text=False,
        )
        try:
            return etree.fromstring(data, parser)
        except etree.XMLSyntaxError:
            raise BadWorkbook(
                f"Its part {brief(name)} is damaged or incomplete; use a backup copy, "
                "or let the spreadsheet program repair it."
            ) from None

    def save(
        self, parts: Mapping[str, bytes], target: Path | None = None, backup_ending: str | None = None
    ) -> None:
        """Write the package with the named parts replaced or added; every other member keeps its bytes.

        `target` None replaces the file that was read, unless it changed since; another one has to be new.
        The new file is complete before it takes its place; after a failure everything is as it was. With
        `backup_ending`, the file that is replaced is kept beside it under its name and that ending.
        Raises ChangedMeanwhile when the file changed since it was read and BadWorkbook when it can't be
        written or is open in a spreadsheet program.
        """
        source = Path(os.path.realpath(self.path))
        data = self._assemble(parts) if parts else self._data
        if target is not None and Path(os.path.realpath(target)) != source:
            create_file(target, data, source)
            return
        backup = source.with_name(source.name + backup_ending) if backup_ending else None
        replace_file(source, data, self._data, lambda: refuse_open(self.path), backup)
        self._load(data)

    def _assemble(self, parts: Mapping[str, bytes]) -> bytes:
        replaced = {
            self._by_name[name.casefold()].orig_filename: content
            for name, content in parts.items()
            if name in self
        }
        new = {name: content for name, content in parts.items() if name not in self}
        out = BytesIO()
        first = min(info.header_offset for info in self._members)
        out.write(self._data[:first])
        central: dict[str, bytes] = {}
        for name, raw in self._slices.items():
            info = self._by_name[name.casefold()]
            offset = out.tell()
            if name in replaced:
                header, packed, record = _pack(info, bytes(raw[: _data_start(raw)]), replaced[name], offset)
                out.write(header + packed)
            else:
                out.write(raw)
                record = _central(info, info.flag_bits, info.CRC, info.compress_size, info.file_size, offset)
            central[name] = record
        added = []
        for name, content in new.items():
            header, packed, record = _pack_new(name, content, out.tell())
            out.write(header + packed)
            added.append(record)
        start = out.tell()
        for info in self._members:
            out.write(central[info.orig_filename])
        for record in added:
            out.write(record)
        size = out.tell() - start
        comment = self._archive.comment
        count = len(self._members) + len(added)
        out.write(_END.pack(b"PK\x05\x06", 0, 0, count, count, size, start, len(comment)) + comment)
        return out.getvalue()


# Where the formats keep digital signatures.
_SIGNATURES = ("_xmlsignatures/", "META-INF/documentsignatures.xml")


def brief(text: str) -> str:
    """A name out of a file as it is quoted in a sentence: on one line and not too long."""
    line = " ".join(text.split())
    return f"{line[:60]}…" if len(line) > 61 else line


def serialize(root: etree._Element) -> bytes:
    """The bytes of an edited XML part, declared the way its file declared it; the encoding becomes UTF-8."""
    tree = root.getroottree()
    # None stands for a part without a declaration.
    declared = tree.docinfo.standalone is not None
    if tree.docinfo.standalone:
        return bytes(etree.tostring(tree, xml_declaration=True, encoding="UTF-8", standalone=True))
    return bytes(etree.tostring(tree, xml_declaration=declared, encoding="UTF-8"))


def _refuse_other_kinds(data: bytes) -> None:
    if not data:
        raise BadWorkbook("The file is empty; use a backup copy.")
    if data.startswith(_OLE):
        if "EncryptedPackage".encode("utf-16-le") in data:
            raise BadWorkbook("The workbook is protected by a password; save it without one.")
        raise BadWorkbook(
            "This is an old .xls workbook or one protected by a password; "
            "save it as .xlsx or .ods without a password."
        )
    if data[:4] not in (b"PK\x03\x04", b"PK\x05\x06") and not zipfile.is_zipfile(BytesIO(data)):
        raise BadWorkbook(
            "This is neither an Excel workbook (.xlsx, .xlsm) nor an OpenDocument one (.ods); "
            "save it as one of these."
        )


def _refuse_too_many(members: int) -> None:
    if members > MAX_MEMBERS:
        raise BadWorkbook(f"The file has more than {MAX_MEMBERS:,} parts; it does not look like a workbook.")


def _check_members(members: list[zipfile.ZipInfo]) -> None:
    if not members:
        raise BadWorkbook("The file is an empty archive, not a workbook; use a backup copy.")
    _refuse_too_many(len(members))
    if sum(info.file_size for info in members) > MAX_UNPACKED:
        raise BadWorkbook(
            f"The workbook is larger than {MAX_UNPACKED // 2**20} MB unpacked; remove pictures or old sheets."
        )
    seen: set[str] = set()
    for info in members:
        name = info.orig_filename
        if "\0" in name or name.startswith(("/", "\\")) or ":" in name.split("/")[0]:
            raise BadWorkbook(
                "The file has parts with unsafe names; save it again in your spreadsheet program."
            )
        if ".." in name.replace("\\", "/").split("/"):
            raise BadWorkbook(
                "The file has parts with unsafe names; save it again in your spreadsheet program."
            )
        if name.casefold() in seen:
            raise BadWorkbook(
                f"The file has its part {brief(name)} twice; let the spreadsheet program repair it."
            )
        seen.add(name.casefold())
        if info.flag_bits & 1:
            raise BadWorkbook("The workbook is protected by a password; save it without one.")
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise BadWorkbook(
                "The file is packed in an unusual way; save it again in the spreadsheet program."
            )
        if info.file_size > RATIO_COUNTS_FROM and info.file_size > MAX_RATIO * max(1, info.compress_size):
            raise BadWorkbook(
                f"Its part {brief(name)} unpacks to a suspicious size, so the file is not trusted; "
                "use a backup copy."
            )


def _agree(info: zipfile.ZipInfo, local: memoryview) -> bool:
    """Whether a member's own header says what the listing says, so that all programs read the same."""
    sign, _, flags, method, _, _, _, packed, unpacked, length, _ = _LOCAL.unpack_from(local)
    name = info.orig_filename.encode("utf-8" if info.flag_bits & 0x800 else "cp437")
    sizes_stand_here = not flags & _DESCRIPTOR_FOLLOWS and _NO_SIZE not in (packed, unpacked)
    return (
        (sign, method) == (b"PK\x03\x04", info.compress_type)
        and local[_LOCAL.size : _LOCAL.size + length] == name
        and (not sizes_stand_here or (packed, unpacked) == (info.compress_size, info.file_size))
    )


def _unpacked(info: zipfile.ZipInfo, local: memoryview) -> bytes | None:
    """The content of a member, None where it is not as long as it is said to be."""
    start = _data_start(local)
    packed = local[start : start + info.compress_size]
    if info.compress_type == zipfile.ZIP_STORED:
        return bytes(packed) if len(packed) == info.file_size else None
    inflate = zlib.decompressobj(-15)
    try:
        content = inflate.decompress(packed, info.file_size + 1)
    except zlib.error:
        return None
    return content if inflate.eof and len(content) == info.file_size else None


def _is_trusted(data: bytes, may_name_type: bool) -> bool:
    """Whether a part declares nothing, neither entities nor default attributes, told before it is parsed."""
    ascii_only = data.replace(b"\0", b"")
    beginning = _BEGINNING.match(ascii_only[:1000])
    encoding = (beginning and beginning["encoding"]) or b"utf-8"
    if not beginning or encoding.lower() not in _ENCODINGS:
        return False
    document_type = _DECLARATIONS.search(ascii_only)
    return document_type is None or (may_name_type and not document_type["declared"])


def _weight(data: bytes) -> int:
    """About how many bytes of memory a part takes when it is parsed, worked on and written (as measured)."""
    elements = data.count(b"<") - data.count(b"</")
    return 3 * len(data) + 350 * elements + 230 * data.count(b"=")


def _data_start(local: memoryview) -> int:
    name_length, extra_length = struct.unpack_from("<2H", local, 26)
    return _LOCAL.size + int(name_length) + int(extra_length)


def _pack(info: zipfile.ZipInfo, local: bytes, content: bytes, offset: int) -> tuple[bytes, bytes, bytes]:
    """Local header, packed data and central record of a member with new content; its other traits stay."""
    packed = content
    if info.compress_type == zipfile.ZIP_DEFLATED:
        deflate = zlib.compressobj(PACKING, zlib.DEFLATED, -15)
        packed = deflate.compress(content) + deflate.flush()
    crc = zlib.crc32(content)
    # Sizes stand in the header itself, so no data descriptor follows.
    flags = info.flag_bits & ~_DESCRIPTOR_FOLLOWS
    _, version, _, method, time, date, *_, name_length, extra_length = _LOCAL.unpack_from(local)
    name_end = _LOCAL.size + name_length
    extra = _without_zip64(local[name_end : name_end + extra_length])
    header = _LOCAL.pack(
        b"PK\x03\x04",
        version,
        flags,
        method,
        time,
        date,
        crc,
        len(packed),
        len(content),
        name_length,
        len(extra),
    )
    header += local[_LOCAL.size : name_end] + extra
    return header, packed, _central(info, flags, crc, len(packed), len(content), offset)


def _pack_new(name: str, content: bytes, offset: int) -> tuple[bytes, bytes, bytes]:
    """Local header, packed data and central record of a new member."""
    info = zipfile.ZipInfo(name)
    info.compress_type, info.flag_bits = zipfile.ZIP_DEFLATED, 0x800
    written = name.encode("utf-8")
    # Its date is the first that there is, 1 January 1980.
    local = _LOCAL.pack(b"PK\x03\x04", 20, 0, zipfile.ZIP_DEFLATED, 0, 33, 0, 0, 0, len(written), 0)
    return _pack(info, local + written, content, offset)


def _central(info: zipfile.ZipInfo, flags: int, crc: int, packed: int, unpacked: int, offset: int) -> bytes:
    year, month, day, hour, minute, second = info.date_time
    name = info.orig_filename.encode("utf-8" if flags & 0x800 else "cp437")
    extra = _without_zip64(info.extra)
    record = _CENTRAL.pack(
        b"PK\x01\x02",
        info.create_version,
        info.create_system,
        info.extract_version,
        info.reserved,
        flags,
        info.compress_type,
        hour << 11 | minute << 5 | second // 2,
        (year - 1980) << 9 | month << 5 | day,
        crc,
        packed,
        unpacked,
        len(name),
        len(extra),
        len(info.comment),
        0,
        info.internal_attr,
        info.external_attr,
        offset,
    )
    return record + name + extra + info.comment


def _without_zip64(extra: bytes) -> bytes:
    """Extra fields without the 64-bit sizes, which no workbook within our bounds needs."""
    kept = b""
    while len(extra) >= 4:
        kind, length = struct.unpack_from("<2H", extra)
        if kind != _ZIP64_EXTRA:
            kept += extra[: 4 + length]
        extra = extra[4 + length :]
    return kept + extra
