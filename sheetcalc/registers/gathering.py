"""Many batch workbooks into one register: made once, refreshed in place ever after."""

import os
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import numpy as np

from sheetcalc import build, files, interrupts, layouts
from sheetcalc.findings import LEVELS, Finding, Level, address, printable, tally, weight
from sheetcalc.layouts import System
from sheetcalc.many import Outcome
from sheetcalc.registers import batches, matching, register, summaries, tables
from sheetcalc.registers.batches import Batch
from sheetcalc.registers.matching import Known
from sheetcalc.registers.register import Line, Register

GONE, UNREAD, TWICE = "file is gone", "could not be read", "code is there twice"
OLDER = "there is a newer file"
ATTEMPTS = 3  # how often writing is begun when somebody changes the register under it
GIVE_IT_ONE = "Give each batch a code of its own, or move the copy out of the way."


class Told(NamedTuple):
    """A finding as it stands in the register; `sheet`, `place` and `column` are those of the workbook."""

    level: Level
    workbook: str
    sheet: str
    place: str
    column: str
    message: str
    advice: str
    rule: str


@dataclass
class Report:
    """What came of gathering: batches that are new and that were there, workbooks that are none or were no
    use, what is to be told of the register itself, and how many findings of each level there are."""

    new: int = 0
    known: int = 0
    left_out: list[str] = field(default_factory=list)
    trouble: list[tuple[str, str]] = field(default_factory=list)
    remarks: list[Told] = field(default_factory=list)
    levels: Counter[Level] = field(default_factory=Counter)
    written: bool = False


@dataclass
class _Gathered:
    """All that the workbooks gave, by file as a path from the register; `older` leads to the newer file."""

    batches: dict[str, Batch] = field(default_factory=dict)
    trouble: dict[str, str] = field(default_factory=dict)
    saved: dict[str, float] = field(default_factory=dict)
    older: dict[str, str] = field(default_factory=dict)


def refuse(to: Path) -> None:
    """Raise a sentence of what stands in the way of gathering into `to`, before any workbook is read.

    Raises files.BadWorkbook, ValueError or OSError.
    """
    ending = to.suffix.lower()
    if not to.parent.is_dir():
        raise FileNotFoundError(f"There is no folder {to.parent} to put {to.name} into.")
    if ending in tables.ENDINGS:
        tables.refuse(to)
    elif to.exists():
        files.refuse_open(to)
        register.opened(to)
    elif ending not in build.ENDINGS:
        raise ValueError(f"A register ends in {', '.join((*build.ENDINGS, *tables.ENDINGS))}.")


def gather(outcomes: Iterable[Outcome[Batch | None]], to: Path, system: System = "metric") -> Report:
    """Put what came of each workbook into the register `to`, which is made where there is none.

    In a register that is there, our cells on the lines of these batches are written, batches it does not have
    get new lines, and all else stays. The ending picks the format; a table for other programs (.csv,
    .parquet) is written anew with these batches alone. `system` are the units of a new register.
    Raises files.BadWorkbook, ValueError and OSError where the register can't be used; it is then as it was.
    """
    report, gathered = Report(), _Gathered()
    for outcome in outcomes:
        file = path_from(to, outcome.path)
        if outcome.trouble:
            gathered.trouble[file] = outcome.trouble
            report.trouble.append((str(outcome.path), outcome.trouble))
        elif outcome.result is None:
            report.left_out.append(str(outcome.path))
        else:
            gathered.batches[file] = outcome.result
            gathered.saved[file] = outcome.path.stat().st_mtime if outcome.path.exists() else 0.0
    _leave_older(gathered)
    report.levels.update(finding.level for batch in gathered.batches.values() for finding in batch.findings)
    if to.suffix.lower() in tables.ENDINGS:
        lines = [Line(_values(file, batch)) for file, batch in _by_start(gathered)]
        report.new = len(lines)
        report.remarks = [*_same_codes(lines)[0], *_told_older(gathered)]
        report.written = tables.write(to, summaries.frame(line.values for line in lines))
    elif to.exists():
        _refresh(to, gathered, report)
    elif gathered.batches:
        with interrupts.held_back(), register.scratch(to.parent) as folder:
            made = Path(folder) / f"new{to.suffix.lower()}"
            register.make(made, system, len(gathered.batches))
            kept = register.opened(made)
            _put(kept, gathered, to, report)
            report.written = register.save(kept, to)
    report.levels.update(told.level for told in report.remarks)
    return report


def _leave_older(gathered: _Gathered) -> None:
    """Of a log that is there in both formats, one saved as the other, only the file saved last counts."""
    alike: dict[tuple[str, str], list[str]] = {}
    for file, batch in gathered.batches.items():
        name = str(Path(file).with_suffix(""))
        alike.setdefault((name, batches.plain(batch.values["batch_code"])), []).append(file)
    for same in alike.values():
        *older, newest = sorted(same, key=lambda file: (gathered.saved[file], file))
        for file in older:
            gathered.older[file] = newest
            del gathered.batches[file]


def _told_older(gathered: _Gathered) -> list[Told]:
    advice = "Move the one that you don't use any more out of the way, and delete its line if it has one."
    return [
        Told("note", file, "", "", "", f"It was saved later as {newest}; only that counts.", advice, "older")
        for file, newest in gathered.older.items()
    ]


def in_words(report: Report, to: Path) -> str:
    """What was gathered, in a sentence or two."""
    batches = report.new + report.known
    if not batches:
        return f"No batch was gathered, and {to} was not {'changed' if to.exists() else 'made'}."
    parts = [f"{batches} batch{'es' * (batches > 1)} in {to}"]
    if report.known:
        parts.append(f"{report.new} of them new" if report.new else "none of them new")
    parts.append(tally(report.levels.elements()))
    if report.trouble:
        parts.append(f"{len(report.trouble)} could not be used")
    return f"{', '.join(parts[:-1])}; {parts[-1]}." + ("" if report.written else " It was up to date.")


def path_from(to: Path, path: Path) -> str:
    """A workbook's path from the register's folder, with strokes forward; the whole path on another drive."""
    try:
        way = Path(os.path.relpath(path, to.parent))
    except ValueError:
        way = path.absolute()
    return printable(way.as_posix())


def _refresh(to: Path, gathered: _Gathered, report: Report) -> None:
    files.remove_abandoned(Path(os.path.realpath(to)).parent)
    for attempt in range(ATTEMPTS):
        files.refuse_open(to)
        kept = register.opened(to)
        _put(kept, gathered, to, report)
        try:
            report.written = register.save(kept)
            return
        except files.ChangedMeanwhile:
            if attempt == ATTEMPTS - 1:
                raise


def _put(kept: Register, gathered: _Gathered, to: Path, report: Report) -> None:
    """Bring a register up to date."""
    lines = kept.lines
    gone = {line.file for line in lines if _is_gone(to, line.file, gathered)}
    older = {line.file for line in lines if line.file in gathered.older}
    by_start = _by_start(gathered)
    wanted = [Known(file, batches.plain(batch.values["batch_code"])) for file, batch in by_start]
    found = matching.match([Known(line.file, line.code) for line in lines], wanted, gone | older)
    remarks: list[Told] = []
    for (file, batch), place in zip(by_start, found, strict=True):
        line = Line(batches.blank()) if place is None else lines[place]
        if place is None:
            lines.append(line)
        else:
            remarks += _changed(line, file, batch)
        line.values = _values(file, batch)
    gone &= {line.file for line in lines}
    # What has no number of errors was never gathered: words of the person's own.
    listed = [line for line in lines if line.file and np.isfinite(float(line.values["errors"]))]
    counted = [line for line in listed if not _is_older(line, gathered)]
    same, twice = _same_codes([line for line in counted if line.file not in gone])
    remarks += [*same, *_told_older(gathered)]
    remarks += [_gone(line) for line in listed if line.file in gone]
    for line in listed:
        line.values["state"] = _state(line, gone, twice, gathered)
    register.write(kept, layouts.REGISTER, listed)
    _compare(kept, counted)
    remarks += _in_doubt(kept, to)
    _tell(kept, listed, gathered, remarks)
    report.new = found.count(None)
    report.known = len(found) - report.new
    report.remarks = remarks


def _by_start(gathered: _Gathered) -> list[tuple[str, Batch]]:
    """The batches in the order they were started in."""
    return sorted(
        gathered.batches.items(), key=lambda item: np.nan_to_num(item[1].values["started_at"], nan=1e9)
    )


def _values(file: str, batch: Batch) -> dict[str, batches.Value]:
    return batches.blank() | dict(batch.values) | {"file": file}


def _is_gone(to: Path, file: str, gathered: _Gathered) -> bool:
    """Whether a line's workbook is no more; one that lies on another drive or computer is not looked for."""
    if not file or file in gathered.batches or file in gathered.trouble:
        return False
    way = Path(file)
    return not (way.root or way.drive) and not os.path.lexists(to.parent / way)


def _is_older(line: Line, gathered: _Gathered) -> bool:
    """Whether a line's log was saved later in the other format; what was so stays so until it is gathered."""
    was = line.values["state"] == OLDER and line.file not in gathered.batches
    return line.file in gathered.older or was


def _state(line: Line, gone: set[str], twice: set[str], gathered: _Gathered) -> str:
    if _is_older(line, gathered) and line.file not in gone:
        return OLDER
    unread = line.file in gathered.trouble
    if line.file not in gathered.batches and not unread:
        unread = line.values["state"] == UNREAD
    return GONE if line.file in gone else UNREAD if unread else TWICE if line.file in twice else ""


def _changed(line: Line, file: str, batch: Batch) -> list[Told]:
    """What is told when a line is known by only one of file and code."""
    code = str(batch.values["batch_code"])
    if line.file and line.file != file:
        message = f"This is batch {code}, which was in {line.file} before; its line went along."
        advice = "Nothing to do, if you renamed or moved the file."
        return [Told("note", file, "", "", "", message, advice, "file_renamed")]
    if line.file and line.code and line.code != batches.plain(code):
        before = line.values["batch_code"]
        message = f"The line of this file was batch {before} before; now it is {code or 'without a code'}."
        advice = "If this is another batch, look whether what you added on the line belongs to it."
        return [Told("warning", file, "", "", "", message, advice, "code_changed")]
    return []


def _same_codes(lines: Sequence[Line]) -> tuple[list[Told], set[str]]:
    """What is told of codes that several workbooks have, and all of these files."""
    by_code: dict[str, list[Line]] = {}
    for line in lines:
        if line.code:
            by_code.setdefault(line.code, []).append(line)
    remarks, twice = [], set()
    for same in by_code.values():
        if len(same) > 1:
            twice |= {line.file for line in same}
            code, others = same[0].values["batch_code"], ", ".join(line.file for line in same[1:4])
            more = f" and {len(same) - 4} more" if len(same) > 4 else ""
            message = f"Batch code {code} is in {others}{more}, too; each is counted."
            remarks.append(Told("warning", same[0].file, "", "", "", message, GIVE_IT_ONE, "code_twice"))
    return remarks, twice


def _in_doubt(kept: Register, to: Path) -> list[Told]:
    """What is in doubt about the register's own columns and units."""
    remarks = []
    for read in kept.read.values():
        for f in read.findings:
            remarks.append(_told(to.name, f))
        for doubt in read.found.doubts:
            tab, row, column = doubt.place
            place = address(row, column)
            remarks.append(Told("warning", to.name, tab, place, "", doubt.message, doubt.advice, doubt.rule))
    return remarks


def _gone(line: Line) -> Told:
    message = (
        f"The workbook of batch {line.values['batch_code']} is not there any more; its line stays as it was."
    )
    advice = "Put it back or gather it from where it is now; or delete the line."
    return Told("warning", line.file, "", "", "", message, advice, "file_gone")


def _compare(kept: Register, listed: Sequence[Line]) -> None:
    """Bring the sheets of stills and yeasts up to date; a name that no batch has any more stays."""
    frame = summaries.frame(line.values for line in listed)
    for key in ("stills", "yeasts"):
        read = kept.read.get(key)
        if read is None:
            continue
        by = read.sheet.columns[0].key
        now = {batches.plain(line[by]): line for line in summaries.compared(read.sheet, frame)}
        lines = []
        for row, values in register.stored(kept.book, read, (by,)):
            name = batches.plain(values[by])
            if name in now:
                lines.append(Line(now.pop(name), row))
            elif np.isfinite(values["batches"]):
                none = {c.key: "" if c.quantity == "text" else np.nan for c in read.sheet.columns}
                lines.append(Line(none | {by: values[by], "batches": 0.0}, row))
        register.write(kept, key, [*lines, *map(Line, now.values())])


def _tell(kept: Register, listed: Sequence[Line], gathered: _Gathered, remarks: Sequence[Told]) -> None:
    """Write the findings anew; those of workbooks that were not gathered this time stay."""
    read = kept.read.get(register.TOLD)
    if read is None:
        return
    here = {line.file for line in listed} - gathered.batches.keys() - gathered.trouble.keys()
    here -= gathered.older.keys()
    about = {told.rule for told in remarks} | {"file_gone", "code_twice", "older"}
    told = [(weight(t.level, False), t) for t in remarks]
    told += [(weight("error", False), _unread(file, trouble)) for file, trouble in gathered.trouble.items()]
    for file, batch in gathered.batches.items():
        told += [(weight(f.level, f.danger), _told(file, f)) for f in batch.findings]
    for _, values in register.stored(kept.book, read, ("message",)):
        if values["workbook"] in here and values["rule"] not in about:
            texts = {key: str(values[key]) for key in Told._fields if key != "level"}
            level: Level = next((level for level in LEVELS if level.upper() == values["level"]), "note")
            told.append((weight(level, False), Told(level, **texts)))
    told.sort(key=lambda each: each[0])
    first = read.found.first_row
    lines = [
        Line(t._asdict() | {"level": t.level.upper()}, row) for row, (_, t) in enumerate(told, start=first)
    ]
    register.write(kept, register.TOLD, lines)
    register.clear_below(kept, register.TOLD, first + len(lines))


def _unread(file: str, trouble: str) -> Told:
    advice = "Mend it, then gather again; its line, if it has one, is as it was."
    return Told("error", file, "", "", "", trouble, advice, "not_read")


def _told(workbook: str, finding: Finding) -> Told:
    f = finding
    return Told(f.level, workbook, f.sheet, f.cell, f.column, f.message, f.advice, f.rule)
