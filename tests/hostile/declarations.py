"""Entities of all kinds, in every part that is read and some that are not, in encodings that hide them."""

import re
from collections.abc import Iterator

from hostile.planting import (
    BOOK,
    BOOK_RELATIONS,
    CONTENT,
    EITHER,
    MANIFEST,
    SHEET,
    STYLES,
    Case,
    Parts,
    Plant,
    before,
    below,
    shared_strings,
)

LAUGHS = (
    '<!DOCTYPE x [<!ENTITY a0 "aaaaaaaaaa">'
    + "".join(f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 10))
    + '<!ENTITY a "&a9;">]>'
)
NAMED = '<!DOCTYPE x SYSTEM "file:///etc/hostname">'
KINDS = {
    "laughs": LAUGHS,
    "quadratic": f'<!DOCTYPE x [<!ENTITY b "{"b" * 50_000}"><!ENTITY a "{"&b;" * 5_000}">]>',
    "outside": '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]>',
    "parameter": '<!DOCTYPE x [<!ENTITY % p SYSTEM "file:///etc/hostname"> %p; <!ENTITY a "x">]>',
    "defaults": f'<!DOCTYPE x [<!ATTLIST c x CDATA "{"d" * 1_000_000}">]>',
    "named": NAMED,
}
READ = {
    ".xlsx": ("_rels/.rels", BOOK_RELATIONS, BOOK, SHEET, STYLES),
    ".ods": (CONTENT, MANIFEST),
}
NOT_READ = {
    ".xlsx": ("[Content_Types].xml", "docProps/core.xml"),
    ".ods": ("styles.xml", "meta.xml", "settings.xml"),
}
INCLUDE = '<xi:include xmlns:xi="http://www.w3.org/2001/XInclude" href="file:///etc/hostname" parse="text"/>'


def cases() -> Iterator[Case]:
    """Refused in the parts that are read, left as they are in the others."""
    for ending, members in READ.items():
        for member in members:
            for kind, text in KINDS.items():
                # Programs of old name a document type in the manifest.
                refusal = None if kind == "named" and member == MANIFEST else "trusted"
                yield Case(f"entities {kind} in {member}", ending, declared(text, member), refusal)
        for encoding in ("utf-16", "utf-16-le", "utf-32", "utf-7", "cp037"):
            hidden = declared(LAUGHS, members[-1], encoding)
            yield Case(f"entities in {members[-1]} as {encoding}", ending, hidden, EITHER)
    for ending, members in NOT_READ.items():
        for member in members:
            yield Case(f"entities in {member}, which is not read", ending, declared(LAUGHS, member), None)
    yield Case("entities in the shared strings", ".xlsx", shared_strings("&a;", LAUGHS), "trusted")
    yield Case("xinclude", ".xlsx", before(SHEET, "</worksheet>", INCLUDE), None)
    yield Case("xinclude", ".ods", below(INCLUDE), None)


def declared(text: str, part: str, encoding: str = "utf-8") -> Plant:
    """Put a document type before the root of a part, and its entity into the root's first attribute."""

    def plant(parts: Parts, size: float) -> None:
        root = re.sub(r"^<\?xml.*?\?>\s*", "", parts[part].decode())
        if "ENTITY" in text:
            root = root.replace('="', '="&a;', 1)
        name = {"utf-16-le": "UTF-16", "cp037": "IBM037"}.get(encoding, encoding.upper())
        head = f'<?xml version="1.0" encoding="{name}"?>'
        if encoding == "utf-7":
            # Python's own UTF-7 leaves these two signs as they are.
            parts[part] = (head + f"{text}{root}".replace("<!", "+ADwAIQ-")).encode()
        else:
            parts[part] = f"{head}{text}{root}".encode(encoding, "replace")

    return plant
