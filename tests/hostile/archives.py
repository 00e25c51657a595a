"""Zip files that are bombs, lie about sizes and names, or hold members over each other."""

import itertools
import re
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator
from io import BytesIO

from hostile.planting import CONTENT, EITHER, SHEET, Case, Parts, Plant, packed

UNSAFE = (
    *("../evil", "../../../../etc/evil", "/etc/evil", "C:/evil", "C:evil", "a/../../evil"),
    *("..\\evil", "\\evil", "a\\..\\..\\evil", "\\\\server\\evil"),
)
ODD = ("%2e%2e/evil", "é" * 30_000, "a\nb", "\x1b[31m", "...", "con")


def cases() -> Iterator[Case]:
    """Refused before anything is unpacked beyond what is said; names are only names."""
    for ending, main in ((".xlsx", SHEET), (".ods", CONTENT)):
        yield Case("bomb beside", ending, _bomb("picture.bin", 300e6), "suspicious")
        yield Case("bomb as sheet", ending, _bomb(main, 120e6), "suspicious")
        yield Case("ten thousand members", ending, _many_members, "more than")
        yield Case("a million members in the listing", ending, _long_listing, "more than")
        yield Case("members over each other", ending, _overlapping, "damaged")
        yield Case("members quoted in each other", ending, _quoted, "damaged")
        yield Case("bomb within", ending, _nested, None)
        yield Case("said to be small", ending, _said(main, lambda true: 100), "damaged")
        yield Case("said to be small, a bomb", ending, _hidden_bomb(main), "damaged")
        yield Case("said to be a little larger", ending, _said(main, lambda true: true + 1), "damaged")
        yield Case("said to be huge", ending, _said(main, lambda true: 120_000_000), EITHER)
        yield Case("other name inside", ending, _other_name(main), "damaged")
        yield Case("twice", ending, _twice(main), "twice")
        yield Case("twice but for case", ending, _twice_in_capitals(main), "twice")
        for name in UNSAFE:
            yield Case(f"member {name}", ending, _with(name), "unsafe")
        for name in ODD:
            yield Case(f"member {name[:12]!r}", ending, _with(name), None)


def _with(name: str) -> Plant:
    def plant(parts: Parts, size: float) -> None:
        parts[name] = b"x"

    return plant


def _bomb(member: str, length: float) -> Plant:
    def plant(parts: Parts, size: float) -> None:
        parts[member] = parts.get(member, b"") + b" " * int(length * max(size, 0.2))

    return plant


def _many_members(parts: Parts, size: float) -> None:
    parts |= {f"x/{number}": b"" for number in range(10_001)}


def _long_listing(parts: Parts, size: float) -> bytes:
    return _relisted(packed(parts), lambda records: records + records[:1] * int(1_000_000 * size))


def _overlapping(parts: Parts, size: float) -> bytes:
    """Very many records lead to one and the same member."""

    def change(records: list[bytes]) -> list[bytes]:
        last, more = records[-1], []
        for number in range(int(1000 * size)):
            name = f"x{number:05}".encode()
            more.append(last[:28] + struct.pack("<H", len(name)) + last[30:46] + name)
        return records + more

    return _relisted(packed(parts), change)


def _quoted(parts: Parts, size: float) -> bytes:
    """Each member begins with a stored block that holds the next one's header, down to data all share."""
    unpacked = 1000 + int(8e6 * size)
    deflate = zlib.compressobj(9, zlib.DEFLATED, -15)
    body = data = deflate.compress(bytes(unpacked)) + deflate.flush()
    listed: list[tuple[bytes, int, int]] = []
    for number in range(30):
        name = f"q{number:04}".encode()
        header = struct.pack(
            "<4s5H3L2H", b"PK\x03\x04", 20, 0, 8, 0, 33, 0, len(data), unpacked, len(name), 0
        )
        body = header + name + data
        listed.append((name, len(data), len(body)))
        data = struct.pack("<BHH", 0, len(header + name), 0xFFFF ^ len(header + name)) + body
    whole = packed(parts)
    start, _, _ = _listing(whole)

    def record(name: bytes, length: int, from_end: int) -> bytes:
        numbers = (20, 20, 0, 8, 0, 33, 0, length, unpacked, len(name), 0, 0, 0, 0, 0)
        return struct.pack("<4s6H3L5H2L", b"PK\x01\x02", *numbers, start + len(body) - from_end) + name

    more = [record(*entry) for entry in listed]
    return _relisted(whole, lambda records: records + more, body)


def _nested(parts: Parts, size: float) -> None:
    """Zip files within zip files that unpack to very much; nobody unpacks them."""
    inner = packed({f"{number}.bin": bytes(int(50e6 * size)) for number in range(4)})
    parts["xl/embeddings/inner.zip"] = packed({f"{number}.zip": inner for number in range(20)})


def _said(member: str, change: Callable[[int], int]) -> Plant:
    """Say another unpacked size, in both headers."""

    def plant(parts: Parts, size: float) -> bytes:
        data = bytearray(packed(parts))
        with zipfile.ZipFile(BytesIO(data)) as archive:
            info = archive.getinfo(member)
        record = data.rindex(member.encode()) - 46
        for at in (info.header_offset + 22, record + 24):
            data[at : at + 4] = struct.pack("<L", change(info.file_size))
        return bytes(data)

    return plant


def _hidden_bomb(member: str) -> Plant:
    def plant(parts: Parts, size: float) -> bytes | None:
        true = len(parts[member])
        parts[member] += b" " * int(2e9 * size)
        return _said(member, lambda _: true)(parts, size)

    return plant


def _other_name(member: str) -> Plant:
    def plant(parts: Parts, size: float) -> bytes:
        return packed(parts).replace(member.encode(), b"Z" * len(member), 1)

    return plant


def _twice(member: str) -> Plant:
    def plant(parts: Parts, size: float) -> bytes:
        other = "?" * len(member)
        return packed(parts | {other: parts[member]}).replace(other.encode(), member.encode())

    return plant


def _twice_in_capitals(member: str) -> Plant:
    def plant(parts: Parts, size: float) -> None:
        parts[member.upper()] = parts[member]

    return plant


def _listing(data: bytes) -> tuple[int, list[bytes], bytes]:
    """Where the listing of a zip file starts, its records, and its end."""
    end = data.rindex(b"PK\x05\x06")
    start = int.from_bytes(data[end + 16 : end + 20], "little")
    marks = [*(match.start() for match in re.finditer(b"PK\x01\x02", data[start:end])), end - start]
    return start, [data[start + a : start + b] for a, b in itertools.pairwise(marks)], data[end:]


def _relisted(data: bytes, change: Callable[[list[bytes]], list[bytes]], more: bytes = b"") -> bytes:
    """The zip file with other records in its listing, and more data before that."""
    start, records, end = _listing(data)
    records = change(records)
    count = len(records) % 2**16
    told = struct.pack("<2H2L", count, count, sum(map(len, records)), start + len(more))
    return data[:start] + more + b"".join(records) + end[:8] + told + end[20:]
