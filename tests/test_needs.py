"""What a result is said to come from is all it comes from, so that it turns grey when any of it is edited."""

import dataclasses
from collections.abc import Iterator
from typing import Any

import in_memory
import numpy as np
import pytest
from logs import clean_log

from sheetcalc import compute, layouts
from sheetcalc.entries import Entries
from sheetcalc.findings import Finding
from sheetcalc.layouts import Needs

LAYOUT = layouts.load("batch")
NEEDS = compute.needs(LAYOUT)
RESULTS = [(s.key, f.key) for s in LAYOUT.sheets for f in (*s.fields, *s.columns) if f.role == "computed"]


@pytest.fixture(scope="module")
def read() -> dict[str, Entries]:
    return in_memory.read(in_memory.blank("metric"), dict(in_memory.places(clean_log())))


def _results(values: compute.Values) -> dict[tuple[str, str], Any]:
    read = values.entries
    told = {sheet: [""] * len(entries.rows) for sheet, entries in read.items()}
    for finding in compute.findings(values):
        sheet = next(key for key, entries in read.items() if entries.found.tab == finding.sheet)
        _tell(told[sheet], read[sheet], finding)
    found = {
        (sheet, key): np.atleast_1d(values.get(sheet, key)) for sheet, key in RESULTS if sheet != "findings"
    }
    return found | {(sheet, "flags"): np.array(texts, object) for sheet, texts in told.items()}


def _tell(texts: list[str], entries: Entries, finding: Finding) -> None:
    if finding.row in entries.rows:
        texts[entries.rows.index(finding.row)] += finding.message


def _nudged(read: dict[str, Entries], sheet: str, key: str, record: int | None) -> dict[str, Entries]:
    entries = read[sheet]
    values = np.array(entries.values[key], copy=True)
    at = () if record is None else record
    if values.dtype == object or values.dtype.kind == "U":
        values = values.astype(object)
        values[at] = f"{values[at]} else" if values[at] else "something"
    else:
        values[at] = 1.0 if np.isnan(values[at]) else values[at] * 1.003 + 0.001
    return {**read, sheet: dataclasses.replace(entries, values={**entries.values, key: values})}


def _changed(before: Any, after: Any) -> Iterator[int]:
    """The records whose result is another one; -1 where even their number is."""
    if len(before) != len(after):
        yield -1
        return
    for record, (old, new) in enumerate(zip(before, after, strict=True)):
        both_blank = isinstance(old, float) and isinstance(new, float) and np.isnan(old) and np.isnan(new)
        # A search goes on until all records have arrived, so their last digits depend on each other.
        same = np.isclose(old, new, rtol=1e-9, atol=0) if isinstance(old, float) else old == new
        if not both_blank and not same:
            yield record


def _entries(read: dict[str, Entries]) -> Iterator[tuple[str, str, int | None]]:
    """Every entry of the cards, and every column's in the first record, which the later ones may build on."""
    for sheet, entries in read.items():
        for key in entries.values:
            if not entries.is_column(key) or entries.rows:
                yield sheet, key, 0 if entries.is_column(key) else None


def _named(needs: Needs, place: tuple[str, int], edited: tuple[str, str, int | None]) -> bool:
    sheet, key, record = edited
    return (sheet, key) in needs.elsewhere or (place == (sheet, record) and key in needs.beside)


@pytest.fixture(autouse=True)
def _quicker() -> Iterator[None]:
    with in_memory.remembering():
        yield


def test_every_result_that_an_edit_changes_names_it(read: dict[str, Entries]) -> None:
    clean = compute.Values(read)
    before = _results(clean)
    edits, unnamed, seen = 0, set(), set()
    for edited in _entries(read):
        edits += 1
        after = _results(in_memory.Again(_nudged(read, *edited), clean))
        for result, values in before.items():
            for record in _changed(values, after[result]):
                seen.add((result, edited[:2]))
                if result in NEEDS and not _named(NEEDS[result], (result[0], record), edited):
                    unnamed.add((result, edited[:2]))
    assert unnamed == set(), sorted(unnamed)
    assert edits > 100 and len(seen) > 400
