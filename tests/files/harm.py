"""What an edit changed in a workbook file, found without the program that made it.

Parts that were not edited are compared byte for byte, edited ones node by node. Left aside are the cells
that were written and what has to follow from writing them: the sheet's dimension, the height and spans of
their rows, links into the workbook that stood in them, forgotten results of formulas, the order to compute
when the file is opened.
"""

import zipfile
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import zip_longest
from pathlib import Path
from typing import Any

from files.workbook_samples import raw_members
from lxml import etree

Position = tuple[int, int]
Written = Mapping[str, Collection[Position]]
# Columns that were added beside a person's table, by sheet: they may get a width and styles of their own.
Added = Mapping[str, Collection[int]]


@dataclass
class Comparison:
    """What differs between two states of a file."""

    parts: int = 0
    edited: list[str] = field(default_factory=list)
    # Results of formulas that are no longer remembered, by sheet.
    forgotten: dict[str, set[Position]] = field(default_factory=dict)
    # All cells whose formula has to be computed when the file is opened.
    open: dict[str, set[Position]] = field(default_factory=dict)
    # Changes nobody asked for.
    strays: list[str] = field(default_factory=list)


def same_parts(old: Path, new: Path, found: Comparison) -> None:
    """Compare the members but for the content of those that were edited."""
    before, after = raw_members(old), raw_members(new)
    found.parts = len(before)
    if list(before) != list(after):
        found.strays.append(f"the parts are {list(after)} and were {list(before)}")
    found.edited = [name for name in before if before[name] != after.get(name)]
    with zipfile.ZipFile(old) as was, zipfile.ZipFile(new) as now:
        if was.comment != now.comment or now.testzip():
            found.strays.append("the archive's comment or checksums are wrong")
        for a, b in zip(was.infolist(), now.infolist(), strict=False):
            traits = _traits(a, a.filename in found.edited), _traits(b, a.filename in found.edited)
            if traits[0] != traits[1]:
                found.strays.append(f"the archive's record of a part is {traits[1]} and was {traits[0]}")


def _traits(info: zipfile.ZipInfo, edited: bool) -> tuple[Any, ...]:
    sizes = () if edited else (info.CRC, info.compress_size, info.file_size, info.flag_bits)
    return (
        *(info.orig_filename, info.date_time, info.compress_type, info.comment, info.extra, *sizes),
        *(info.create_system, info.create_version, info.extract_version, info.reserved, info.volume),
        *(info.internal_attr, info.external_attr),
    )


def parsed(data: bytes) -> etree._Element:
    """The root of an XML part."""
    return etree.fromstring(data, etree.XMLParser(resolve_entities=False, strip_cdata=False))


def outline(root: etree._Element) -> Iterator[tuple[Any, ...]]:
    """Everything an XML part says, node by node."""
    info = root.getroottree().docinfo
    yield "declared", info.xml_version, info.standalone
    for node in [*reversed([*root.itersiblings(preceding=True)]), root, *root.itersiblings()]:
        yield from map(look, node.iter())


def look(node: Any) -> tuple[Any, ...]:
    """One node: its name, prefix, declared namespaces, attributes, text and what follows it."""
    if not isinstance(node.tag, str):
        return type(node).__name__, getattr(node, "target", ""), node.text, node.tail or ""
    return node.tag, node.prefix, node.nsmap, dict(node.attrib), node.text or "", node.tail or ""


def first_difference(name: str, old: Iterable[Any], new: Iterable[Any]) -> list[str]:
    """The first of two parts' nodes that are not the same, as a sentence."""
    for before, after in zip_longest(old, new):
        if before != after:
            return [f"{name}: {after} was {before}"]
    return []


def take_out(element: etree._Element) -> None:
    """Remove an element, but not the text behind it."""
    parent, before, tail = element.getparent(), element.getprevious(), element.tail or ""
    assert parent is not None
    if before is None:
        parent.text = (parent.text or "") + tail
    else:
        before.tail = (before.tail or "") + tail
    parent.remove(element)


def drop_blanks(*elements: etree._Element) -> None:
    """Forget blanks between the elements inside these."""
    for element in elements:
        if not (element.text or "").strip():
            element.text = None
        for child in element:
            if not (child.tail or "").strip():
                child.tail = None
