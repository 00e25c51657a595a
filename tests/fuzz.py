"""Workbooks spoilt at random and filled: each one is filled and valid, or refused in one sentence.

Usage: python -m tests.fuzz --files 20000 --seed 1 [--first NUMBER] [--keep FOLDER] [--way adopted|gather]

Each file follows from the seed and its number alone, so that what was found can be made again with --first
and --files 1. Prints how many were filled and refused, the slowest one and the most memory; whatever else
happened is a bug, is printed with its number, and ends with exit code 1. Seconds are of the processor.
"""

import argparse
import copy
import itertools
import json
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
import warnings
import zipfile
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import Any, NamedTuple

from lxml import etree

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT / "examples"), str(ROOT / "tests")]

import fuzz_ways  # noqa: E402 - needs the path above
from demo import type_in  # noqa: E402
from logs import clean_log  # noqa: E402

from sheetcalc import build, compute, files, findings, layouts  # noqa: E402
from sheetcalc.build import as_filled  # noqa: E402
from sheetcalc.build.as_filled import STANDS  # noqa: E402
from sheetcalc.files import locate  # noqa: E402
from sheetcalc.filled import stamp  # noqa: E402
from sheetcalc.filling import fill  # noqa: E402

CORPUS = ROOT.parent / "shared" / "corpus"
SECONDS = 60
MEMORY = 4 * 2**30
KINDS = ("bench", "small", "whole")
SMALL = ("batch", "instruments", "fermentation", "runs", "strength", "findings")

NUMBERS = (
    *("0", "-1", "1", "2", "4294967295", "4294967296", "-2147483649", "99999999999999999999", "9" * 5000),
    *("1e308", "-1e308", "1e-320", "1e999", "NaN", "INF", "-INF", "Infinity", "1_0", "0x10", "1,5", "²", "٣"),
    *("2958465", "2958466", "-693594", "60", "0.5", "45000.75", "1e9", "1e15", "-0.0"),
)
TEXTS = (
    *("", " ", "\n", "\t", "=1+1", "=cmd|'/C calc'!A0", "+1", "-1", "@SUM(A1)", "\tx", "{=1}", "'"),
    *(
        "\x1b[31mred\x1b[0m",
        "\u202eabc",
        "a\x9bb",
        "\ufeff",
        "e\u0301",
        "😀",
        "_xD83D_",
        "_x0000_",
        "_x001B_",
    ),
    *("1900-02-29", "0000-01-01", "99999-01-01", "9999-12-31T23:59:59.9999999", "PT9999999999H", "-P1D"),
    *("ZZZZ99999999", "A0", "XFD1048576", "A1:XFD1048576", "$A$1", "#REF!", "Sheet1!A1", "[1]Other!A1"),
    *("20 L**9**9**9", "1 (((", "5 %%%", "1e400 L", "2 gal gal", "700 ml/ml", "1" * 400, "1 " * 300 + "x"),
    *("x" * 300, "y" * 40_000, "['" + "''" * 40, "'" * 9000, "[" * 9000, "((" * 500, "../../etc/passwd"),
    *("%2e%2e/%2e%2e/x", "C:\\x", "/xl/workbook.xml", "xl/worksheets/sheet1.xml", "true", "no", "error"),
    *(
        "s",
        "str",
        "b",
        "e",
        "d",
        "inlineStr",
        "array",
        "shared",
        "float",
        "date",
        "time",
        "boolean",
        "percentage",
    ),
    *("12:99", "3/4/2026", "31.2.2026", "2026-03-04 25:00", "4 Mar 99999", "SG", "buckets", "°C", "% vol"),
)
NAMES = (
    "../x",
    "/x",
    "C:/x",
    "a\\b",
    "xl/workbook.xml",
    "XL/WORKBOOK.XML",
    "content.xml",
    "%2e%2e/x",
    "é",
    "x" * 300,
)
CELLS: tuple[Any, ...] = (
    *TEXTS,
    *NUMBERS,
    *(1e308, -1e308, 1e-320, 5e-324, 0.0, -1.0, 1e9, -1e9, 9.9e8, 1e15, 1e-9, 0.5, 1.0, 99.9, 100.0, 100.1),
    *(1.05, 1045.0, 37.5, 45000.0, 60.0, 2958465.0, 2958466.0, -5.0, 1e5, 4e7),
    *(
        datetime(1900, 2, 28),
        datetime(1, 1, 1),
        datetime(9999, 12, 31, 23, 59, 59, 999999),
        datetime(2026, 3, 2),
    ),
)


class Outcome(NamedTuple):
    """What came of one file."""

    number: int
    how: str
    seconds: float
    bug: str = ""


def seeds(folder: Path, kinds: Sequence[str], corpus: Path) -> list[Path]:
    """The workbooks that are spoilt: ours, typed into and filled; and real ones where there are some."""
    folder.mkdir(parents=True, exist_ok=True)
    made: list[Path] = []
    bench, batch = layouts.load("bench"), layouts.load("batch")
    small = replace(batch, sheets=tuple(sheet for sheet in batch.sheets if sheet.key in SMALL))
    log = clean_log()
    looks = {"bench": bench, "small": small, "whole": batch}
    for ending, name in itertools.product((".xlsx", ".ods"), kinds):
        layout = looks[name]
        keys = {sheet.key for sheet in layout.sheets}
        typed = {key: entries for key, entries in log.items() if key in keys}
        path = folder / f"{name}{ending}"
        build.new_workbook(layout, compute.needs(layout), "metric", path)
        type_in(path, typed)
        filled = folder / f"{name}-filled{ending}"
        shutil.copyfile(path, filled)
        fill(filled)
        made += [path, filled]
    real = [path for path in sorted(corpus.glob("*.*")) if path.suffix in (".xlsx", ".xlsm", ".ods")]
    return made + [path for path in real if path.stat().st_size < 100_000 and zipfile.is_zipfile(path)]


def pick(dice: random.Random, workbooks: list[Path]) -> Path:
    """One of the seeds, the small ones more often."""
    weights = [{"be": 12, "sm": 4, "wh": 1}.get(path.name[:2], 0.5) for path in workbooks]
    return dice.choices(workbooks, weights)[0]


def spoil(dice: random.Random, source: Path, path: Path, way: str = "fill") -> str:
    """Write a spoilt copy of a workbook, and tell at which level it was spoilt."""
    ours = source.name[:2] in ("be", "sm", "wh") and "calamine" not in source.name
    typed = ours or way != "fill"
    level = dice.choice(["zip", "xml", "xml", "cells", "cells"] if typed else ["zip", "xml"])
    if level == "cells":
        shutil.copyfile(source, path)
        (_spoil_cells if way == "fill" else _spoil_any_cells)(dice, path)
    elif level == "xml":
        path.write_bytes(_spoil_parts(dice, source))
    else:
        path.write_bytes(dice.choice(ARCHIVE_SPOILERS)(dice, source.read_bytes()))
    return level


def _spoil_cells(dice: random.Random, path: Path) -> None:
    """Type senseless values into cells of our sheets: entries, units, headings and whatever stands nearby."""
    book = files.open_workbook(path)
    found = locate.find(book, [s for s in layouts.every_sheet().values() if s.fields or s.columns])
    for _ in range(dice.choice([1, 2, 4, 8, 30])):
        place = dice.choice(list(found.values()))
        cells, spots = book.cells(place.tab), list(place.cells.values())
        row, column = dice.choice(spots)
        if place.first_row and dice.random() < 0.8:
            row = place.first_row + dice.choice([0, 0, 0, 1, 1, 2, 3, 60, 300])
        elif place.units and dice.random() < 0.5:
            row, column = dice.choice(list(place.units.values()))
        if (row, column) not in cells or not cells[row, column].formula:
            value = dice.choice(CELLS)
            book.write(place.tab, row, column, value[:32_000] if isinstance(value, str) else value)
    book.save()


def _spoil_any_cells(dice: random.Random, path: Path) -> None:
    """Type senseless values into cells that hold something, and beside and below them."""
    book = files.open_workbook(path)
    for _ in range(dice.choice([1, 2, 4, 8, 30])):
        tab = dice.choice([tab for tab in book.sheets if book.cells(tab)])
        row, column = dice.choice(list(book.cells(tab)))
        row, column = row + dice.choice([0, 0, 0, 0, 1, 2, 60]), column + dice.choice([0, 0, 0, 0, 1, 3])
        if not book.has_formula(tab, row, column):
            value = dice.choice(CELLS)
            book.write(tab, row, column, value[:32_000] if isinstance(value, str) else value)
    book.save()


def _spoil_parts(dice: random.Random, source: Path) -> bytes:
    with zipfile.ZipFile(source) as archive:
        parts = [(info, archive.read(info)) for info in archive.infolist()]
    for _ in range(dice.choice([1, 1, 1, 2, 3])):
        index = dice.choice([i for i, (info, _) in enumerate(parts) if _is_xml(info.filename)])
        info, content = parts[index]
        parts[index] = (info, dice.choice([_spoil_elements] * 5 + [_flip, _declare])(dice, content))
    return _packed(parts)


def _is_xml(name: str) -> bool:
    return name.endswith((".xml", ".rels")) and not name.startswith(("docProps", "Thumbnails"))


def _spoil_elements(dice: random.Random, content: bytes) -> bytes:
    try:
        root = etree.fromstring(content)
    except etree.XMLSyntaxError:
        return content
    for _ in range(dice.choice([1, 1, 2, 4, 20])):
        element = dice.choice(list(root.iter("*")))
        dice.choice(ELEMENT_SPOILERS)(dice, element, root)
    encoding = dice.choice(["UTF-8"] * 8 + ["UTF-16"])
    return bytes(etree.tostring(root, xml_declaration=True, encoding=encoding))  # type: ignore[arg-type]


def _delete(dice: random.Random, element: etree._Element, root: etree._Element) -> None:
    parent = element.getparent()
    if parent is not None:
        parent.remove(element)


def _double(dice: random.Random, element: etree._Element, root: etree._Element) -> None:
    if element is not root:
        for _ in range(dice.choice([1, 1, 3])):
            element.addnext(copy.deepcopy(element))


def _move(dice: random.Random, element: etree._Element, root: etree._Element) -> None:
    goal = dice.choice(list(root.iter("*")))
    if element is not root and element not in goal.iterancestors() and element is not goal:
        goal.insert(dice.randrange(len(goal) + 1), element)


def _change_attribute(dice: random.Random, element: etree._Element, root: etree._Element) -> None:
    if element.attrib:
        element.set(dice.choice(list(element.attrib)), _xml_text(dice.choice(NUMBERS + TEXTS)))


def _drop_attribute(dice: random.Random, element: etree._Element, root: etree._Element) -> None:
    if element.attrib:
        del element.attrib[dice.choice(list(element.attrib))]


def _change_text(dice: random.Random, element: etree._Element, root: etree._Element) -> None:
    element.text = _xml_text(dice.choice(NUMBERS + TEXTS))


def _nest(dice: random.Random, element: etree._Element, root: etree._Element) -> None:
    for _ in range(dice.choice([3, 200, 300])):
        element = etree.SubElement(element, element.tag)


def _comment(dice: random.Random, element: etree._Element, root: etree._Element) -> None:
    element.insert(0, dice.choice([etree.Comment(" x "), etree.ProcessingInstruction("x", "y")]))


ELEMENT_SPOILERS: tuple[Callable[[random.Random, Any, Any], None], ...] = (
    *(_delete, _double, _move, _drop_attribute, _change_text, _change_text),
    *(_change_attribute, _change_attribute, _change_attribute, _change_attribute, _nest, _comment),
)


def _xml_text(text: str) -> str:
    return "".join(sign for sign in text if sign in "\t\n" or sign >= " ")


def _flip(dice: random.Random, content: bytes) -> bytes:
    spoilt = bytearray(content)
    for _ in range(dice.choice([1, 2, 8, 64])):
        if spoilt:
            spoilt[dice.randrange(len(spoilt))] ^= 1 << dice.randrange(8)
    return bytes(spoilt)


def _declare(dice: random.Random, content: bytes) -> bytes:
    declared = dice.choice(
        [
            b'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>',
            b'<!DOCTYPE x SYSTEM "file:///etc/hostname">',
            b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]>',
        ]
    )
    return content.replace(b"?>", b"?>" + declared, 1).replace(b">1<", b">&b;<", 1)


def _packed(parts: Iterable[tuple[zipfile.ZipInfo, bytes]]) -> bytes:
    out = BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for info, content in parts:
            archive.writestr(info, content, info.compress_type)
    return out.getvalue()


def _truncate(dice: random.Random, data: bytes) -> bytes:
    return data[: dice.randrange(len(data))]


def _wipe(dice: random.Random, data: bytes) -> bytes:
    start = dice.randrange(len(data))
    length = dice.choice([1, 4, 64, 4096])
    return data[:start] + bytes(length) + data[start + dice.choice([0, length]) :]


def _change_header(dice: random.Random, data: bytes) -> bytes:
    """Set a field of a local header, a record of the listing, or its end, to a senseless number."""
    sign, size = dice.choice([(b"PK\x03\x04", 30), (b"PK\x01\x02", 46), (b"PK\x05\x06", 22)])
    starts = [i for i in range(len(data) - size) if data.startswith(sign, i)] or [len(data) - 22]
    at = dice.choice(starts) + dice.randrange(4, size - 2)
    width = dice.choice([1, 2, 4])
    value = dice.choice([0, 1, 2, 8, 12, 0x7F, 0xFF, 0xFFFF, 2**31, 2**32 - 1, dice.getrandbits(32)])
    return data[:at] + (value % (1 << 8 * width)).to_bytes(width, "little") + data[at + width :]


def _change_members(dice: random.Random, data: bytes) -> bytes:
    """Swap, drop, double, rename or empty members."""
    with zipfile.ZipFile(BytesIO(data)) as archive:
        parts = [(info, archive.read(info)) for info in archive.infolist()]
    first, second = dice.randrange(len(parts)), dice.randrange(len(parts))
    (info, content), (other, theirs) = parts[first], parts[second]
    what = dice.choice(["swap", "drop", "double", "rename", "empty", "shuffle"])
    if what == "swap":
        parts[first], parts[second] = (info, theirs), (other, content)
    elif what == "drop":
        del parts[first]
    elif what == "double":
        parts.append((info, theirs))
    elif what == "rename":
        renamed = copy.copy(info)
        renamed.filename = dice.choice(NAMES)
        parts[first] = (renamed, content)
    elif what == "empty":
        parts[first] = (info, b"")
    else:
        dice.shuffle(parts)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of doubled names
        return _packed(parts)


ARCHIVE_SPOILERS: tuple[Callable[[random.Random, bytes], bytes], ...] = (
    *(_flip, _flip, _truncate, _wipe, _change_header, _change_header, _change_header),
    *(_change_members, _change_members, _change_members),
)


def try_one(path: Path, twice: bool) -> str:
    """Fill the workbook, or edit one that is not ours, and hold what came of it against the promise.

    Returns "filled", "edited", or "refused" with the reason's first words; raises on anything else.
    """
    before = path.read_bytes()
    try:
        told, how = fill(path), "filled"
    except files.BadWorkbook as trouble:
        check_refusal(str(trouble), path, before)
        if not str(trouble).startswith("It is not one of our workbooks"):
            return "refused"
        return _edit(path, before)
    for finding in told:
        line = findings.as_json(finding, str(path))
        assert json.loads(line)["message"] == finding.message
        shown = findings.printable(f"{finding.sheet} {finding.column} {finding.message} {finding.advice}")
        assert shown.isascii() or not any(sign in shown for sign in "\x1b\x9b\u202e\n"), shown
    check_filled(before, path)
    if twice:
        once = path.read_bytes()
        fill(path)
        assert path.read_bytes() == once, "a second fill changed the file"
    return how


def _edit(path: Path, before: bytes) -> str:
    """Write a few cells into a workbook that is not ours."""
    try:
        book = files.open_workbook(path)
        for sheet in book.sheets[:5]:
            for place in ((1, 1), (2, 2), (150, 3)):
                held = book.cells(sheet).get(place)
                if held is None or not held.formula:
                    book.write(sheet, *place, "=x")
        book.save()
    except files.BadWorkbook as trouble:
        check_refusal(str(trouble), path, before)
        return "refused"
    check_members(before, path.read_bytes())
    return "edited"


def check_refusal(message: str, path: Path, before: bytes) -> None:
    assert "\n" not in message and message.endswith(".") and len(message) < 400, message
    assert path.read_bytes() == before, "a refused file was changed"
    assert [entry.name for entry in path.parent.iterdir()] == [path.name], "something was left behind"


def check_filled(before: bytes, path: Path) -> None:
    """Only our own cells changed, and everything else in the file is as it was."""
    after = path.read_bytes()
    if after == before:
        return
    changed = check_members(before, after)
    with tempfile.TemporaryDirectory() as folder:
        old_path = Path(folder) / path.name
        old_path.write_bytes(before)
        old, new = files.open_workbook(old_path), files.open_workbook(path)
    ours = set(our_columns(old))
    # Who filled it, and where each sheet stands.
    on_start = {place for name, place in old.named.items() if name == stamp.NAME or name.startswith(STANDS)}
    for sheet in old.sheets:
        try:
            was = old.cells(sheet)
        except files.BadWorkbook:
            continue  # a damaged sheet that no fill looks into; its bytes are the same, as seen above
        now = new.cells(sheet)
        for place in was.keys() | now.keys():
            formula = place in was and was[place].formula
            same = was.get(place) == now.get(place) or (sheet, *place) in on_start
            assert same or formula or (sheet, place[1]) in ours, (
                sheet,
                place,
                was.get(place),
                now.get(place),
            )
    for name in changed:
        assert _around(before, name) == _around(after, name), f"{name} changed beside its cells"


def our_columns(book: files.Workbook) -> Iterator[tuple[str, int]]:
    """The tabs and columns that hold our computed cells, flags and copies of entries."""
    yield from copies_of_entries(book)
    sheets = layouts.every_sheet()
    for key, place in locate.find(book, [s for s in sheets.values() if s.fields or s.columns]).items():
        for field in (*sheets[key].fields, *sheets[key].columns):
            if field.key in place.cells and (field.role != "entry" or key == "findings"):
                yield place.tab, place.cells[field.key][1]


def copies_of_entries(book: files.Workbook) -> Iterator[tuple[str, int]]:
    """The tabs and columns that hold what was typed at the last fill."""
    for name, (tab, row, column) in book.named.items():
        if name.startswith("filled_"):
            heading = book.cells(tab).get((row, column))
            if heading and str(heading.value).endswith(as_filled.AS_FILLED):
                yield tab, column
        elif name == as_filled.ALL:
            yield from ((tab, column) for column in (as_filled.WAS, as_filled.UNIT_WAS))


def check_members(before: bytes, after: bytes) -> set[str]:
    """The same members in the same order, and all but sheets with their very bytes; those that changed."""
    with zipfile.ZipFile(BytesIO(before)) as old, zipfile.ZipFile(BytesIO(after)) as new:
        kept = [
            info
            for info in new.infolist()
            if info.orig_filename in old.namelist() or "_rels" not in info.filename
        ]
        assert [i.orig_filename for i in old.infolist()] == [i.orig_filename for i in kept]
        changed = {
            one.orig_filename
            for one, other in zip(old.infolist(), kept, strict=True)
            if _raw(before, one) != _raw(after, other)
        }
        # Reading one checks its sum; those with the same bytes may have been damaged before.
        assert all(new.read(info) for info in new.infolist() if info.orig_filename in changed)
    known = ("content.xml", "xl/styles.xml")
    assert all(name.casefold() in known or "sheet" in name or "book" in name for name in changed), changed
    return changed


def _raw(data: bytes, info: zipfile.ZipInfo) -> bytes:
    at = info.header_offset
    lengths = data[at + 26 : at + 30]
    head = 30 + int.from_bytes(lengths[:2], "little") + int.from_bytes(lengths[2:], "little")
    return data[at : at + head + info.compress_size]


def _around(data: bytes, name: str) -> bytes:
    """A part without the rows of its sheets and what follows from their cells."""
    with zipfile.ZipFile(BytesIO(data)) as archive:
        root = etree.fromstring(archive.read(name))
    for element in list(
        root.iter("{*}sheetData", "{*}hyperlinks", "{*}dimension", "{*}calcPr", "{*}table-row")
    ):
        parent = element.getparent()
        if parent is not None:
            parent.remove(element)
    return bytes(etree.tostring(root))


def run(
    number: int, seed: int, workbooks: list[Path], keep: Path | None = None, way: str = "fill"
) -> Outcome:
    """Spoil and try file `number`; a bug is told with its traceback, and its file kept in `keep`."""
    dice = random.Random(f"{seed}-{number}")
    source = pick(dice, workbooks)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"spoilt{source.suffix}"
        level = spoil(dice, source, path, way)
        spoilt = path.read_bytes()
        start = time.process_time()
        signal.setitimer(signal.ITIMER_PROF, SECONDS)
        bug, how = "", "bug"
        try:
            if way == "fill":
                how = try_one(path, twice=number % 5 == 0)
            else:
                how = fuzz_ways.try_one(way, path, source, twice=number % 5 == 0)
        except Exception:  # whatever it is, it is what is looked for
            bug = f"{source.name}, {level}:\n{traceback.format_exc()}"
            if keep:
                (keep / f"{seed}-{number}{source.suffix}").write_bytes(spoilt)
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
        return Outcome(number, f"{level} {how}", time.process_time() - start, bug)


def _runs(
    numbers: range, seed: int, workbooks: list[Path], keep: Path | None, way: str
) -> tuple[list[Outcome], float]:
    """Some files, in a process of its own with bounds; with the most memory it ever held, in MB."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    signal.signal(signal.SIGPROF, _out_of_time)
    warnings.simplefilter("error")
    outcomes = [run(number, seed, workbooks, keep, way) for number in numbers]
    return outcomes, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _out_of_time(*_: object) -> None:
    raise TimeoutError(f"more than {SECONDS} s")


def campaign(
    wanted: range,
    seed: int,
    processes: int = 2,
    keep: Path | None = None,
    kinds: Sequence[str] = KINDS,
    corpus: Path = CORPUS,
    way: str = "fill",
) -> tuple[list[Outcome], float]:
    """Try the files of these numbers; what came of each, and the most memory of a process in MB."""
    with tempfile.TemporaryDirectory() as folder, ProcessPoolExecutor(processes) as pool:
        made = Path(folder)
        workbooks = seeds(made, kinds, corpus) if way == "fill" else fuzz_ways.seeds(way, made)
        size = min(200, -(-len(wanted) // processes))
        parts = [wanted[start : start + size] for start in range(0, len(wanted), size)]
        jobs = [pool.submit(_runs, part, seed, workbooks, keep, way) for part in parts]
        outcomes: list[Outcome] = []
        peak = 0.0
        for job in jobs:
            some, most = job.result()
            outcomes, peak = outcomes + some, max(peak, most)
            for outcome in some:
                if outcome.bug:
                    print(f"\nfile {outcome.number}, {outcome.bug}", flush=True)
    return outcomes, peak


def report(outcomes: list[Outcome], peak: float) -> str:
    """The counts as they are printed."""
    counts = Counter(outcome.how for outcome in outcomes)
    ends = Counter(outcome.how.split()[1] for outcome in outcomes)
    slowest = max(outcomes, key=lambda outcome: outcome.seconds)
    opened = ends["filled"] + ends["edited"]
    return "\n".join(
        [
            f"files {len(outcomes)}: opened {opened} (ours filled {ends['filled']}, "
            f"others edited {ends['edited']}), refused by message {ends['refused']}, "
            f"tracebacks {ends['bug']}",
            ", ".join(f"{how} {count}" for how, count in sorted(counts.items())),
            f"slowest {slowest.seconds:.2f} s (file {slowest.number}), largest memory {peak:.0f} MB",
        ]
    )


def main() -> int:
    """Run a campaign from the command line."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--files", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--corpus", type=Path, default=CORPUS)
    parser.add_argument("--way", choices=("fill", "adopted", "gather"), default="fill")
    wanted = parser.parse_args()
    if wanted.keep:
        wanted.keep.mkdir(parents=True, exist_ok=True)
    numbers = range(wanted.first, wanted.first + wanted.files)
    outcomes, peak = campaign(
        numbers, wanted.seed, wanted.processes, wanted.keep, corpus=wanted.corpus, way=wanted.way
    )
    print(report(outcomes, peak))
    return int(any(outcome.bug for outcome in outcomes))


if __name__ == "__main__":
    sys.exit(main())
