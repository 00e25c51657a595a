"""What a person's own workbook seems to hold, proposed as a layout file that says why; writes no workbook."""

import json
import re
import unicodedata
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import islice
from pathlib import Path
from typing import Literal, NamedTuple

from sheetcalc import adopted, compute, entries, files, layouts, units
from sheetcalc.files import BadWorkbook, Cell
from sheetcalc.findings import address
from sheetcalc.layouts import Field, Sheet

System = Literal["metric", "us", ""]
SURE, LIKELY, DOUBTFUL = 0.85, 0.7, 0.5
MARGIN = 0.15  # of a table's score over the next kind, below which nobody can tell
SAMPLED = 40  # records that are looked at
MOST_HEADING_ROWS = 200  # of one sheet that are looked into
MOST_CELLS = 5000  # of one sheet that are looked at for units and for a card
LONGEST_HEADING = 100
ALIKE = 0.82  # words that resemble each other less are different words
TELLING = ("gravity", "strength", "mark")  # quantities that nobody but the trade measures
METRIC_UNITS = frozenset({"°C", "L", "mL", "cL", "dL", "hL", "kg", "g", "% vol", "°P", "kg/m3"})
WEAK = ("text", "choice")
OURS = 5  # names of ours that make a workbook one of ours
_REFERENCE = re.compile(
    r"\s*(?:@|\bat|\bbei|à|\ba|\bpři|\bprzy|\bw|\bbij|\ben)\s*(?:15|15[.,]56|20|60)\s*°?\s*[CF]?\b", re.I
)
_NUMBER_SIGN = re.compile(r"#|\b[nN][º°]|\b(?:no|nr|num|č)\.(?=\s|$)", re.IGNORECASE)
_TEMPERATURE_SIGN = re.compile(r"\bT(?:°|º|\.|(?=\s|$))")
_STOP_WORDS = frozenset(
    re.findall(
        r"\w+", "of the de du des d la le les l del della dell di do da dos el von vom der das van het"
    )
)
_BRACKETS = re.compile(r"[\[(]([^\])]*)[\])]")
_NUMBERED = re.compile(r"^\W*\d[\d.,'/: -]*\W*\w{0,6}\W*$")

Position = tuple[int, int]


class Words(NamedTuple):
    """A heading taken apart: its words with and without the unit, its units, what kind of value it is."""

    whole: str
    bare: str
    units: tuple[str, ...]
    corrected: bool
    only_units: bool


@dataclass(frozen=True)
class Guess:
    """What a heading is taken for: our field, the unit, how sure from 0 to 1, why, and the first values."""

    place: Position
    text: str
    field: Field
    unit: str
    sure: float
    why: tuple[str, ...]
    seen: tuple[str, ...]
    nth: int = 0

    @property
    def grade(self) -> str:
        """How sure, in a word."""
        return "sure" if self.sure >= SURE else "likely" if self.sure >= LIKELY else "doubtful"


@dataclass(frozen=True)
class Table:
    """A table or card that looks like one of our sheets."""

    sheet: Sheet
    kind: Literal["table", "card"]
    tab: str
    top: int
    lines: int
    guesses: tuple[Guess, ...]
    unknown: tuple[tuple[Position, str], ...]
    score: float
    batch: str = ""
    nth: int = 0


def propose(path: Path, to: Path | None = None, over: bool = False) -> list[str]:
    """Write the layout file that fits a workbook, and tell in lines for the terminal what was recognised.

    to: the file to write, else NAME.layout.toml beside the workbook; over: whether it may be there already.
    Raises files.BadWorkbook where the workbook can't be read or holds nothing that we know, or where the file
    is there already.
    """
    goal = to or path.with_suffix(".layout.toml")
    if goal.suffix != ".toml":
        raise BadWorkbook(f"A layout file ends in .toml; {goal.name} does not.")
    if goal.exists() and not over:
        raise BadWorkbook(
            f"{goal} is there already; name another with --to, or write over it with --replace."
        )
    book = files.open_workbook(path)
    found = recognise(book)
    if not any(table.kind == "table" for table in found):
        raise BadWorkbook(
            "No table in it looks like a distiller's log: no row of headings names a gravity or a strength "
            "beside other columns that we know. Nothing was written."
        )
    goal.write_text("\n".join(_toml(path.name, found)) + "\n", encoding="utf-8", newline="\n")
    return [*_told(path, found), *_next(path, goal, found)]


def recognise(book: files.Workbook) -> list[Table]:
    """The tables and cards of a workbook that look like ours, in the order of its sheets.

    Raises files.BadWorkbook where a sheet is damaged or the workbook is one that we made.
    """
    ours = {f"{s.key}_{f.key}" for s in layouts.every_sheet().values() for f in (*s.fields, *s.columns)}
    if len(ours & book.names.keys()) >= OURS:
        raise BadWorkbook("This workbook is one of ours; fill it without a layout.")
    system = _system(book)
    found: list[Table] = []
    for tab in book.sheets:
        tables = _tables(book, tab, system)
        card = _card(book, tab, tables, system)
        found += [*tables, *([card] if card else [])]
    return _told_apart(book, found)


def _told_apart(book: files.Workbook, found: list[Table]) -> list[Table]:
    """Give tables of one kind a batch each, and those of the same headings on one tab a number."""
    kinds = Counter(table.sheet.key for table in found)
    on_tab = Counter((table.sheet.key, table.tab) for table in found)
    seen: Counter[tuple[str, str]] = Counter()
    result = []
    for table in found:
        where = (table.sheet.key, table.tab)
        seen[where] += 1
        batch = table.tab if kinds[table.sheet.key] > 1 else ""
        batch = f"{batch} {seen[where]}" if on_tab[where] > 1 else batch
        result.append(replace(table, batch=batch, nth=_nth(book, table)))
    return result


def _nth(book: files.Workbook, table: Table) -> int:
    """Which of several tables with these headings it is, 0 where it is the only one."""
    wanted = {guess.text for guess in table.guesses}
    if table.kind == "card":
        return 0
    rows, merged = adopted.rows_of_texts(book.cells(table.tab)), book.merged(table.tab)
    tops = [r for r in sorted(rows) if wanted <= set(adopted.joined(rows, merged, r, table.lines).values())]
    return tops.index(table.top) + 1 if len(tops) > 1 and table.top in tops else 0


@cache
def _vocabulary() -> tuple[dict[str, dict[str, tuple[str, ...]]], dict[str, str]]:
    """What each key of each sheet is called, and the units by their spelling."""
    found = layouts.parse(layouts.folder() / f"{layouts.SYNONYMS}.toml")
    common, spelled = found.pop("common"), found.pop("units")

    def spread(names: list[str]) -> tuple[str, ...]:
        return tuple(
            _squeezed(word) for name in names for word in (common[name[1:]] if name[0] == "@" else [name])
        )

    words = {sheet: {key: spread(names) for key, names in keys.items()} for sheet, keys in found.items()}
    by_spelling = {_unit_text(text): label for label, texts in spelled.items() for text in [label, *texts]}
    return words, by_spelling


def _squeezed(text: str) -> str:
    """Words as they are compared: small letters without accents, signs and double blanks."""
    text = _TEMPERATURE_SIGN.sub("temp ", _NUMBER_SIGN.sub(" ", text))
    plain = unicodedata.normalize("NFKD", text.casefold().replace("ł", "l").replace("ß", "ss"))
    plain = "".join(sign for sign in plain if not unicodedata.combining(sign))
    words = re.sub(r"[^\w%°]+", " ", plain).split()
    return " ".join([word for word in words if word not in _STOP_WORDS] or words)


def _unit_text(text: str) -> str:
    return re.sub(r"\s+", "", text.casefold().replace("º", "°")).rstrip(".:")


def _label(raw: str, quantity: str) -> str:
    """Our label for a unit as a heading spells it, '' where it is none of that quantity."""
    label = _vocabulary()[1].get(_unit_text(raw), "")
    return label if label in units.choices(quantity) else units.label_of(raw, quantity) if raw else ""


def _is_unit(raw: str) -> bool:
    if _unit_text(raw) in _vocabulary()[1]:
        return True
    return bool(raw) and any(units.label_of(raw, quantity) for quantity in units.QUANTITIES)


@cache
def split(text: str) -> Words:
    """Take a heading apart into words and what may be its unit."""
    corrected = bool(_REFERENCE.search(text))
    plain = _REFERENCE.sub(" ", text)
    raw: list[str] = []
    for inside in _BRACKETS.findall(plain):
        parts = [part.strip() for part in [inside, *re.split(r"[/;,|]", inside)]]
        raw += [part for part in parts if _is_unit(part)]
    rest = _BRACKETS.sub(" ", plain)
    tokens = rest.split()
    for count in (3, 2, 1):
        last = " ".join(tokens[-count:]).lstrip(",;-–") if len(tokens) > count else ""
        if last and not raw and _is_unit(last):
            raw.append(last)
            tokens = tokens[:-count]
            tokens = tokens[:-1] if len(tokens) > 1 and tokens[-1].casefold() == "in" else tokens
            break
    for count in (2, 1):
        first = " ".join(tokens[:count]) if len(tokens) > count else ""
        if len(first) > 1 and not raw and _is_unit(first) and not first.isalpha():
            raw.append(first)
            tokens = tokens[count:]
    bare = " ".join(tokens)
    only_units = False
    if not raw:
        parts = [part.strip() for part in re.split(r"[/;,|]", bare) if part.strip()]
        raw += [part for part in dict.fromkeys([bare, *parts]) if _is_unit(part)]
        only_units = bool(parts) and all(map(_is_unit, parts))
    return Words(_squeezed(plain), _squeezed(bare), tuple(dict.fromkeys(raw)), corrected, only_units)


@cache
def _resemblance(words: str, synonyms: tuple[str, ...]) -> tuple[float, str]:
    """How well words fit what a key is called, from 0 to 1, and the synonym that fits best."""
    from rapidfuzz import fuzz

    best = (0.0, "")
    for synonym in synonyms:
        if synonym == words:
            return 1.0, synonym
        theirs = synonym.split()
        mine = [_spelled_out(word, theirs) for word in words.split()]
        longer = " ".join(mine)
        score = fuzz.token_sort_ratio(longer, synonym) / 100
        # One or two letters off; in short words any letter makes another word.
        score = score * 0.97 if score >= ALIKE and len(words) > 4 else 0.0
        if set(theirs) <= set(mine) and len(synonym) > 2:
            score = max(score, 0.6 + 0.35 * len(synonym) / len(longer))
        best = max(best, (score, synonym))
    return best


def _spelled_out(word: str, others: Sequence[str]) -> str:
    """An abbreviation as one of the other words, where it is the beginning of one."""
    return next((other for other in others if len(word) > 2 and other.startswith(word)), word)


def _system(book: files.Workbook) -> System:
    """The unit system that the headings of a workbook speak of, '' where they speak of both or none."""
    named = set()
    for tab in book.sheets:
        for cell in islice(book.cells(tab).values(), MOST_CELLS):
            if (
                isinstance(cell.value, str)
                and len(cell.value) <= LONGEST_HEADING
                and not _NUMBERED.match(cell.value)
            ):
                named |= {_vocabulary()[1].get(_unit_text(raw), "") for raw in split(cell.value).units}
    us, metric = bool(named & adopted.US_UNITS), bool(named & METRIC_UNITS)
    return "us" if us and not metric else "metric" if metric and not us else ""


def _measured(cell: Cell) -> bool:
    """Whether a cell holds a number or a date, perhaps as text."""
    if isinstance(cell.value, str):
        return bool(_NUMBERED.match(cell.value[:60]))
    return isinstance(cell.value, float)


def _tables(book: files.Workbook, tab: str, system: System) -> list[Table]:
    cells = book.cells(tab)
    texts: Counter[int] = Counter()
    measured: dict[int, set[int]] = {}
    for (row, column), cell in cells.items():
        if _measured(cell):
            measured.setdefault(row, set()).add(column)
        elif isinstance(cell.value, str) and cell.value.strip() and len(cell.value) <= LONGEST_HEADING:
            texts[row] += 1
    wordy = {row for row in texts if not measured.get(row)}
    bottoms = [row for row in sorted(wordy) if row + 1 not in wordy][:MOST_HEADING_ROWS]
    rows, merged = adopted.rows_of_texts(cells), book.merged(tab)
    candidates: list[Table] = []
    for bottom in bottoms:
        for lines in range(1, adopted.MOST_LINES + 1):
            top = bottom - lines + 1
            if top not in wordy:
                break
            headings = adopted.joined(rows, merged, top, lines)
            last = adopted.joined(rows, merged, bottom, 1)
            above = " ".join(text for r in range(top - 4, top) for text in rows.get(r, {}).values())
            for block in _blocks(headings, measured, bottom):
                candidates += _fitting(cells, [tab, above[:200]], top, lines, block, headings, last, system)
    taken: list[tuple[range, range]] = []
    chosen = []
    for table in sorted(candidates, key=lambda t: (-t.score, t.lines)):
        span = range(table.top, table.top + table.lines)
        columns = range(min(g.place[1] for g in table.guesses), max(g.place[1] for g in table.guesses) + 1)
        if not any(_overlap(span, r) and _overlap(columns, c) for r, c in taken):
            taken.append((span, columns))
            chosen.append(table)
    return sorted(chosen, key=lambda t: (t.top, t.guesses[0].place[1]))


def _overlap(one: range, other: range) -> bool:
    return one.start < other.stop and other.start < one.stop


def _blocks(
    headings: Mapping[int, str], measured: Mapping[int, set[int]], bottom: int
) -> Iterator[dict[int, str]]:
    """The headings, parted where a column has neither heading nor values."""
    used = set(headings).union(*(measured.get(row, set()) for row in range(bottom + 1, bottom + 6)))
    block: dict[int, str] = {}
    for column in range(min(used), max(used) + 2):
        if column in used:
            block |= {column: headings[column]} if column in headings else {}
        elif block:
            if len(block) > 1:
                yield block
            block = {}


def _fitting(
    cells: Mapping[Position, Cell],
    titles: Sequence[str],
    top: int,
    lines: int,
    block: Mapping[int, str],
    headings: Mapping[int, str],
    last: Mapping[int, str],
    system: System,
) -> Iterator[Table]:
    """The sheet of ours that some headings fit best, if any does.

    titles: the tab's name, which comes first, and what stands above the headings.
    """
    first = top + lines
    rows = _sampled(cells, first, block)
    fits: list[Table] = []
    for key in _vocabulary()[0]:
        sheet = layouts.every_sheet().get(key)
        if sheet is None or not sheet.columns or key == "titles":
            continue
        guesses = _assigned(sheet, cells, rows, block, last, system)
        if not _is_log(sheet, guesses):
            continue
        called = _vocabulary()[0]["titles"].get(key, ())
        titled = max(_resemblance(_squeezed(text), called)[0] for text in titles)
        score = _score(sheet, guesses) + (0.75 if titled >= SURE else 0.5 * (titled > 0)) - 0.05 * lines
        known = {guess.place[1] for guess in guesses}
        unknown = tuple(((first - 1, c), text) for c, text in block.items() if c not in known)
        numbered = tuple(_numbered(guesses, headings))
        fits.append(Table(sheet, "table", titles[0], top, lines, numbered, unknown, score))
    fits.sort(key=lambda table: -table.score)
    for table in fits[:1]:
        rivals = [other.sheet for other in fits[1:] if table.score - other.score < MARGIN]
        if rivals:
            yield _in_doubt(table, f'the table could be "{rivals[0].title}" ({rivals[0].key}), too')
        elif len(table.unknown) > len(table.guesses):
            yield _in_doubt(table, "most headings of the table are not recognised")
        else:
            yield table


def _in_doubt(table: Table, why: str) -> Table:
    """A table that may be no such sheet of ours: all of it is left to the person."""
    guesses = (replace(g, sure=min(g.sure, LIKELY - 0.01), why=(*g.why, why)) for g in table.guesses)
    return replace(table, guesses=tuple(guesses))


def _sampled(cells: Mapping[Position, Cell], first: int, block: Mapping[int, str]) -> list[int]:
    """The first rows of a table, up to the next headings or the blank rows that end it; at least one."""
    rows, blank = [first], 0
    for row in range(first, first + SAMPLED):
        line = [cells[row, column] for column in block if (row, column) in cells]
        worded = [cell for cell in line if not _measured(cell)]
        blank = 0 if line else blank + 1
        if blank == adopted.BLANK_ROWS or (len(line) > 1 and len(worded) == len(line)):
            break
        if not (line and isinstance(line[0].value, str) and adopted.is_total(line[0].value)):
            rows.append(row)
    return list(dict.fromkeys(rows))


def _numbered(guesses: Sequence[Guess], headings: Mapping[int, str]) -> Iterator[Guess]:
    """The guesses, with their number from the left where a heading stands there more than once."""
    for guess in guesses:
        alike = [column for column, text in headings.items() if text.casefold() == guess.text.casefold()]
        yield replace(guess, nth=alike.index(guess.place[1]) + 1) if len(alike) > 1 else guess


def _is_log(sheet: Sheet, guesses: Sequence[Guess]) -> bool:
    """Whether enough is recognised, and something of the trade among it."""
    good = [g for g in guesses if g.sure >= LIKELY and g.field.quantity not in WEAK]
    typed = [g for g in good if g.field.role == "entry"]
    telling = [g for g in good if g.field.quantity in TELLING]
    if sheet.key in ("bottling", "carbon", "clearing"):
        own = {"bottling": "bottles", "carbon": "carbon_mass", "clearing": "dose"}[sheet.key]
        return len(typed) >= (2 if telling else 3) and any(g.field.key == own for g in typed)
    if sheet.key == "blend" and not any(g.field.key == "part" for g in guesses):
        return False
    return len(typed) >= 2 and bool(telling)


def _score(sheet: Sheet, guesses: Sequence[Guess]) -> float:
    weights = {"entry": 1.0, "computed": 0.6, "flag": 0.0}
    total = sum(g.sure * (0.4 if g.field.quantity in WEAK else weights[g.field.role]) for g in guesses)
    known = {g.field.key for g in guesses}
    lacking = [c for c in sheet.columns if c.needed and c.quantity not in WEAK and c.key not in known]
    return total - 0.4 * len(lacking)


def _assigned(
    sheet: Sheet,
    cells: Mapping[Position, Cell],
    rows: Sequence[int],
    block: Mapping[int, str],
    last: Mapping[int, str],
    system: System,
) -> list[Guess]:
    """The best fitting key for each heading, each key once; the most certain first."""
    guesses, at = [], rows[0] - 1
    for column, text in block.items():
        sample = [cells[row, column] for row in rows if (row, column) in cells]
        for field in sheet.columns:
            # The last line of several may say all there is to say.
            for words in {text, last.get(column, text)}:
                guess = _guess(sheet, field, (at, column), words, sample, system)
                if guess:
                    guesses.append(replace(guess, text=text))
    order = {field.key: place for place, field in enumerate(sheet.columns)}
    guesses.sort(key=lambda g: (-round(g.sure, 3), g.field.role != "entry", g.place[1], order[g.field.key]))
    keys: set[str] = set()
    columns: dict[int, Guess] = {}
    for guess in guesses:
        column = guess.place[1]
        if column in columns:
            rival = columns[column]
            if rival.sure - guess.sure < 0.04 and guess.field.role == "entry" and guess.field.key not in keys:
                why = (*rival.why, f'could be "{guess.field.heading}" ({guess.field.key}), too')
                columns[column] = replace(rival, sure=min(rival.sure, LIKELY - 0.01), why=why)
        elif guess.field.key not in keys:
            keys.add(guess.field.key)
            columns[column] = guess
    return [columns[column] for column in sorted(columns)]


def _guess(
    sheet: Sheet, field: Field, place: Position, text: str, sample: Sequence[Cell], system: System
) -> Guess | None:
    """What speaks for a heading being this field, None where little does."""
    words = split(text)
    vocabulary = _vocabulary()[0].get(sheet.key, {})
    synonyms = (*vocabulary.get(field.key, ()), _squeezed(field.heading))
    score, synonym = max(_resemblance(words.bare, synonyms), _resemblance(words.whole, synonyms))
    true_of = {"strength_20": "reading", "collected_strength": "collected_reading", "gravity_20": "reading"}
    if words.corrected:
        if field.key in true_of:
            same = _resemblance(words.bare, vocabulary.get(true_of[field.key], ()))
            score, synonym = max((score, synonym), same)
        elif field.key in true_of.values():
            score *= 0.4
    labels = [label for raw in words.units if (label := _label(raw, field.quantity))]
    if words.units and not labels:
        # A unit of something else speaks against it.
        score *= 0.3
    elif labels and words.only_units and field.role == "entry" and field.quantity in (*TELLING, "volume"):
        score, synonym = max((score, synonym), (SURE, words.whole))
    if score < DOUBTFUL:
        return None
    why = [f'"{synonym}" means that' if score == 1 else f'resembles "{synonym}"']
    unit, certain, reason = _unit(field, tuple(dict.fromkeys(labels)), sample, system)
    why += [reason] if reason else []
    fit, seen = _fit(field, unit, sample)
    filled = [cell for cell in sample if cell.value not in (None, "")]
    if filled:
        score *= 0.4 + 0.6 * fit
        why.append(f"{round(fit * len(filled))} of {len(filled)} values fit")
    else:
        score *= 0.9
        why.append("no values yet")
    if not certain:
        score = min(score, LIKELY - 0.01)
    return Guess(place, text, field, unit, score, tuple(why), seen) if score >= DOUBTFUL else None


def _unit(
    field: Field, named: tuple[str, ...], sample: Sequence[Cell], system: System
) -> tuple[str, bool, str]:
    """The unit of a column, whether that is certain, and why."""
    if not field.units:
        return "", True, ""
    if len(named) == 1:
        return named[0], True, f"the heading says {named[0]}"
    own = {_own_unit(cell, field) for cell in sample if cell.value not in (None, "")}
    if len(own) == 1 and (label := own.pop()):
        return label, True, f"each value says {label}"
    usual = field.unit["us" if system == "us" else "metric"]
    candidates = named or field.offered
    fits = {label: _fit(field, label, sample)[0] for label in candidates}
    best = max(fits.values())
    fitting = [label for label in candidates if fits[label] == best]
    if field.quantity == "gravity" and "SG" in fitting and best > 0.9 and _has(sample):
        return "SG", True, "the values are such as SG has"
    if len(fitting) == 1 and best > 0.9 and _has(sample):
        return fitting[0], True, f"the values fit {fitting[0]} alone"
    unit = usual if usual in fitting else fitting[0]
    if named:
        return unit, False, f"the heading names {' and '.join(named)}"
    if field.quantity in ("strength", "mark", "temperature") and system and unit == field.unit[system]:
        return unit, True, f"no unit in the heading; the others are {'US' if system == 'us' else 'metric'}"
    return unit, False, f"no unit in the heading; {unit} is a guess"


def _own_unit(cell: Cell, field: Field) -> str:
    """The unit that stands behind the number in a cell, '' where none does."""
    try:
        return units.label_of(units.read_number(str(cell.value)).unit, field.quantity)
    except ValueError:
        return ""


def _has(sample: Sequence[Cell]) -> bool:
    return any(cell.value not in (None, "") for cell in sample)


def _fit(field: Field, unit: str, sample: Sequence[Cell]) -> tuple[float, tuple[str, ...]]:
    """The share of values that can be read as this field and lie within its limits, and the first as read."""
    seen: list[str] = []
    good, count = 0, 0
    for cell in sample:
        if cell.value in (None, ""):
            continue
        count += 1
        value, problem = entries.read_cell(cell, field, unit)
        words = isinstance(cell.value, str) and not _measured(cell)
        if field.quantity == "text":
            good += words or len(str(cell.value)) < 12
        elif problem is None or problem.rule in ("date_in_doubt", "comma_in_doubt"):
            good += 1
        if len(seen) < 3 and value == value and value != "":
            shown = value if isinstance(value, str) else units.show(value, field.quantity, unit)
            seen.append(units.one_line(str(shown), 30))
    return (good / count if count else 0.0), tuple(seen)


def _card(book: files.Workbook, tab: str, tables: Sequence[Table], system: System) -> Table | None:
    """Lines of label and value that our batch card has, above, beside or without a table."""
    cells = book.cells(tab)
    sheet = layouts.every_sheet()[adopted.CARD]
    headings = {(t.top + line, g.place[1]) for t in tables for line in range(t.lines) for g in t.guesses}
    labels: Counter[str] = Counter(c.value.casefold() for c in cells.values() if isinstance(c.value, str))
    guesses: dict[str, Guess] = {}
    for place, cell in sorted(islice(cells.items(), MOST_CELLS)):
        if not isinstance(cell.value, str) or len(cell.value) > LONGEST_HEADING or place in headings:
            continue
        value = cells.get(adopted.value_of(cells, place))
        if value is None or labels[cell.value.casefold()] > 1 or (place[0] + 1, place[1]) in headings:
            continue
        for field in sheet.fields:
            if field.role == "entry" and field.key in _vocabulary()[0][adopted.CARD]:
                guess = _guess(sheet, field, place, " ".join(cell.value.split()), [value], system)
                if guess and guess.sure >= LIKELY and guess.field.quantity != "text":
                    kept = guesses.get(field.key)
                    guesses[field.key] = guess if kept is None or guess.sure > kept.sure else kept
    by_place = {guess.place: guess for guess in sorted(guesses.values(), key=lambda g: g.sure)}
    if not by_place:
        return None
    found = tuple(by_place[place] for place in sorted(by_place))
    return Table(sheet, "card", tab, found[0].place[0], 1, found, (), 0.0)


def _toml(name: str, found: Sequence[Table]) -> Iterator[str]:
    """The layout file, line by line."""
    yield f"# Layout of {_comment(name)}, as sheetcalc adopt proposes it. Look through it first:"
    yield "# - A block says which of your headings is what. Delete it, or correct its key or unit, if wrong."
    yield "# - DOUBTFUL ones are switched off by '#'. Take the '#' away where they are right."
    yield "# - 'add = false' offers a column to compute; 'add = true' lets fill put it beside your table."
    yield "# - 'write = false' is a column of yours to compute; 'write = true' lets fill write over it."
    yield f"# Then: sheetcalc fill {_comment(name)} --layout THIS FILE"
    yield ""
    yield '# What your workbook does not hold and results need. [constants."NAME"] is for one batch alone.'
    yield "[constants]"
    for example in ('original_gravity = "1.080"', 'still_capacity = "4 L"', 'altitude = "0 m"'):
        yield f"# {example}"
    yield ""
    if any(g.unit == "proof" and g.field.quantity == "mark" for table in found for g in table.guesses):
        yield "# A proof hydrometer is made for 60 °F; correct it if yours says otherwise."
        yield from ("[[instruments]]", 'instrument = "alcoholmeter"', 'scale = "proof"')
        yield 'reference_temperature = "60 °F"'
    else:
        yield "# Without it, glasses are taken to read right at 20 °C."
        yield from ("# [[instruments]]", '# instrument = "hydrometer"', '# scale = "SG"')
        yield '# reference_temperature = "20 °C"'
    for table in found:
        yield ""
        yield from _block(table)


def _block(table: Table) -> Iterator[str]:
    outer, inner = ("tables", "columns") if table.kind == "table" else ("cards", "fields")
    off = all(guess.grade == "doubtful" for guess in table.guesses)
    mark = "# " if off else ""
    at = address(table.top, table.guesses[0].place[1])
    yield f"# {table.sheet.title}: the {table.kind} at {at} on {_comment(table.tab)}"
    yield f"{mark}[[{outer}]]"
    yield f"{mark}sheet = {_text(table.sheet.key)}"
    yield f"{mark}tab = {_text(table.tab)}"
    if table.batch:
        yield f"{mark}batch = {_text(table.batch)}  # tables of one batch are computed together"
    if table.lines > 1:
        yield f"{mark}heading_lines = {table.lines}"
    if table.nth:
        yield f"{mark}nth = {table.nth}  # of the tables with these headings, from above"
    for guess in table.guesses:
        yield ""
        yield from _one(guess, f"{outer}.{inner}")
    if table.unknown:
        yield ""
        for place, text in table.unknown:
            yield f"# Not recognised, and left alone: {address(*place)} {_comment(text)}"
    if table.kind == "table":
        yield from _offers(table, mark)


def _one(guess: Guess, header: str) -> Iterator[str]:
    field = guess.field
    sure = f"{guess.grade} ({guess.sure:.0%})"
    heading, why = _comment(guess.text), _comment("; ".join(guess.why))
    yield f'# {address(*guess.place)} {heading} = "{field.heading}": {sure}; {why}'
    if guess.seen:
        yield f"#   read as {_comment(', '.join(guess.seen))}"
    off = "# " if guess.grade == "doubtful" else ""
    if off:
        yield "#   DOUBTFUL: switched off; look whether key and unit are right"
    yield f"{off}[[{header}]]"
    yield f"{off}key = {_text(field.key)}"
    yield f"{off}heading = {_text(guess.text)}"
    if field.units:
        yield f"{off}unit = {_text(guess.unit)}"
    if guess.nth:
        yield f"{off}nth = {guess.nth}  # of the columns with this heading, from the left"
    if field.role != "entry":
        yield f"{off}write = false"


def _offers(table: Table, mark: str) -> Iterator[str]:
    """What could be computed from the columns that are there, each switched off."""
    known = {guess.field.key for guess in table.guesses}
    texts = {guess.text.casefold() for guess in table.guesses} | {
        text.casefold() for _, text in table.unknown
    }
    us = any(guess.unit in adopted.US_UNITS for guess in table.guesses)
    for field in table.sheet.columns:
        if field.role == "entry" or field.key in known or field.key.endswith("_uncertainty"):
            continue
        if field.role == "computed" and not _can_be(table.sheet, field.key, known):
            continue
        unit = field.unit.get("us" if us else "metric", "")
        heading = f"{field.heading} ({unit})" if unit else field.heading
        heading = heading if heading.casefold() not in texts else f"{heading} (computed)"
        yield ""
        yield f"# {field.help}"
        yield f"{mark}[[tables.columns]]"
        yield f"{mark}key = {_text(field.key)}"
        yield f"{mark}heading = {_text(heading)}"
        if unit:
            yield f"{mark}unit = {_text(unit)}"
        yield f"{mark}add = false"


def _can_be(sheet: Sheet, key: str, known: set[str]) -> bool:
    """Whether what a result can't do without is there: its own table's needed columns."""
    behind = {need for home, need in compute.Values({}).behind(sheet.key, key) if home == sheet.key}
    typed = {field.key: field for field in sheet.columns if field.role == "entry" and field.key in behind}
    measured = {k for k, field in typed.items() if field.needed and field.quantity not in WEAK}
    return measured <= known and bool(typed.keys() & known)


def _text(text: str) -> str:
    """A text as TOML writes it."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _comment(text: str) -> str:
    """Somebody's words in a comment: on one line."""
    return units.one_line(text, 120)


def _told(path: Path, found: Sequence[Table]) -> Iterator[str]:
    """What was recognised, for the terminal."""
    yield f"{path}: {len(found)} recognised"
    for table in found:
        at = address(table.top, table.guesses[0].place[1])
        batch = f", batch {units.short(table.batch)}" if table.batch else ""
        yield f"  {table.sheet.title} ({table.kind} at {table.tab}!{at}{batch})"
        width = min(30, max(len(guess.text) for guess in table.guesses))
        for g in table.guesses:
            unit = f" [{g.unit}]" if g.unit else ""
            off = "" if g.field.role == "entry" else ", a result of your own"
            heading = f"{units.one_line(g.text, 30):{width}}"
            seen = f": {', '.join(g.seen)}" if g.seen else ""
            yield f"    {address(*g.place):5} {heading}  {g.grade:8}  {g.field.heading}{unit}{off}{seen}"
        for place, text in table.unknown:
            yield f"    {address(*place):5} {units.one_line(text, 30):{width}}  not recognised, left alone"


def _next(path: Path, goal: Path, found: Sequence[Table]) -> Iterator[str]:
    doubtful = sum(guess.grade == "doubtful" for table in found for guess in table.guesses)
    yield f"Wrote {goal}; the workbook was not changed."
    if doubtful:
        yield f"{doubtful} doubtful: switched off there until you take the '#' away."
    yield "Next: look through it, switch on what you want computed (add = true), and run:"
    yield f"  sheetcalc fill {path} --layout {goal}"
