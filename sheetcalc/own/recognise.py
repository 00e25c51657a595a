"""Which tables and cards of a person's own workbook look like ours."""

import re
from collections import Counter
from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Literal, NamedTuple

from sheetcalc import entries, files, layouts
from sheetcalc.files import BadWorkbook, Cell, Cells, Place, Position
from sheetcalc.layouts import Field, Sheet
from sheetcalc.own import adopted, ours
from sheetcalc.own import cells as own_cells
from sheetcalc.own.guesses import (
    DOUBTFUL,
    LIKELY,
    SURE,
    TELLING,
    Column,
    Guess,
    System,
    assigned,
    columns_of,
    doubted,
    guess_of,
    guesses_of,
)
from sheetcalc.own.headings import (
    LONGEST_HEADING,
    Words,
    label_for,
    resemblance,
    split,
    squeezed,
    unit_text,
    vocabulary,
)

MARGIN = 0.15  # of a table's score over the next kind, below which nobody can tell
SAMPLED = 40  # records that are looked at
MOST_HEADING_ROWS = 200  # of one sheet that are looked into
FEWEST_COUNTED = 3  # records that a column has to count
FEWEST_BESIDE = 3  # headings left of a card's label in their row
MOST_CELLS = 5000  # of one sheet that are looked at for units and for a card
METRIC_UNITS = frozenset({"°C", "L", "mL", "cL", "dL", "hL", "kg", "g", "% vol", "°P", "kg/m3"})
WEAK = ("text", "choice")
WORDED = ("fraction", "agent", "step")  # choices that nobody but the trade has
# What only our kinds of tables have, besides gravities and strengths.
OURS_ALONE = frozenset(
    re.findall(
        r"\w+",
        "jar run smell fraction vapour_temperature charge_volume collected_volume first_drip_at part "
        "carbon_mass bottles agent step dose taster",
    )
)
# Of what a table must have one, where it need have neither gravity nor strength.
OWN = {"bottling": {"bottles"}, "carbon": {"carbon_mass"}, "clearing": {"dose", "dose_mass"}}
# What no list of stock has.
MORE_THAN_STOCK = {
    "runs": {"charge_strength", "first_drip_at", "stopped_at", "collected_temperature"},
    "cuts": {"run", "temperature", "vapour_temperature", "smell", "fraction"},
    "strength": {"temperature", "target_strength", "target_volume", "water_volume", "water_mass"},
    "bottling": {"bottles"},
    "carbon": {"carbon_mass"},
    "clearing": {"dose"},
    "fermentation": {"reading"},
}
_COMMON = ("reading", "lecture", "lettura", "degrees", "meting", "prozent", "procent")  # such as others read
OURS = 5  # names of ours that make a workbook one of ours
_PRICED = re.compile(r"[€$£]|\b(?:eur|euro|euros|usd|gbp|chf|pln|zł|czk|kč|sek|kr|huf|ft)\b", re.IGNORECASE)


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
    of: int = 0

    @property
    def rows(self) -> range:
        """The rows of its headings."""
        return range(self.top, self.top + self.lines)

    @property
    def columns(self) -> range:
        """The columns from the first heading of theirs that is recognised to the last."""
        theirs = [guess.place[1] for guess in self.guesses if not guess.added]
        return range(theirs[0], theirs[-1] + 1)


class Unread(NamedTuple):
    """What looks like a table and is none that we know: its row of headings, by column."""

    tab: str
    top: int
    headings: dict[int, str]


def recognise(book: files.Workbook) -> list[Table]:
    """The tables and cards of a workbook that look like ours, in the order of its sheets.

    Raises files.BadWorkbook where a sheet is damaged or the workbook is one that we made.
    """
    known = {f"{s.key}_{f.key}" for s in layouts.every_sheet().values() for f in (*s.fields, *s.columns)}
    if len(known & book.names.keys()) >= OURS:
        raise BadWorkbook("This workbook is one of ours; fill it without a layout.")
    system = _system(book)
    found: list[Table] = []
    for tab in book.sheets:
        cells = ours.left_out(book, tab)
        tables = _tables(book, tab, cells, system)
        card = _card(cells, tab, tables, system)
        found += [*tables, *([card] if card else [])]
    return _with_added(book, _told_apart(book, found))


def _with_added(book: files.Workbook, found: Sequence[Table]) -> list[Table]:
    """The tables with the columns of theirs that a fill added.

    Where the name of one is of none of these batches, and several tables of its kind stand in its row, the
    columns go to the tables in their order.
    """
    columns: dict[tuple[str, str, str, int], list[ours.Ours]] = {}
    for one in ours.columns(book):
        columns.setdefault((one.field.key, one.sheet, *one.place[:2]), []).append(one)
    added: dict[int, dict[Position, Guess]] = {}
    for (key, sheet, tab, row), named in columns.items():
        could = [
            i
            for i, t in enumerate(found)
            if t.kind == "table" and (t.sheet.key, t.tab, t.rows[-1]) == (sheet, tab, row)
        ]
        names = {adopted.defined_name(sheet, key, found[i].batch).casefold(): i for i in could}
        known = {one.place: names[one.name] for one in named if one.name in names}
        rest = [i for i in could if i not in known.values()]
        others = list(dict.fromkeys(one.place for one in named if one.place not in known))
        for place, i in [*known.items(), *zip(others, rest, strict=False)]:
            guess = _added(book, found[i], named[0].field, place)
            if place not in known:
                (guess,) = _numbered([guess], _line(book, place, but=known))
            if all(other.grade == "doubtful" for other in found[i].guesses):
                guess = doubted(guess, "its table is in doubt")
            added.setdefault(i, {})[guess.place] = guess
    return [
        _besides(table, [guess for _, guess in sorted(added.get(i, {}).items())])
        for i, table in enumerate(found)
    ]


def _besides(table: Table, added: Sequence[Guess]) -> Table:
    """A table with columns that a fill added; another column is not taken for the same then."""
    keys = {guess.field.key for guess in added}
    theirs = [guess for guess in table.guesses if guess.field.key not in keys]
    others = tuple((guess.place, guess.text) for guess in table.guesses if guess.field.key in keys)
    return replace(table, guesses=(*theirs, *added), unknown=(*table.unknown, *others))


def _added(book: files.Workbook, table: Table, field: Field, place: Place) -> Guess:
    """A column that a fill added, as it is called now."""
    cell = book.cells(place[0]).get(place[1:])
    text = " ".join(str(cell.value).split()) if cell else field.heading
    named = [label for raw in split(text).units if (label := label_for(raw, field.quantity))]
    us = any(guess.unit in adopted.US_UNITS for guess in table.guesses)
    unit = named[0] if named else field.unit.get("us" if us else "metric", "")
    return Guess(place[1:], text, field, unit, 1.0, ("fill added it",), (), 1.0, added=True)


def _line(book: files.Workbook, place: Place, but: Container[Place]) -> dict[int, str]:
    """The texts in the row of a cell, but for those of some cells."""
    tab, row, _ = place
    texts = own_cells.rows_of_texts(book.cells(tab)).get(row, {})
    return {column: text for column, text in sorted(texts.items()) if (tab, row, column) not in but}


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
        nth, of = _nth(book, table)
        result.append(replace(table, batch=batch, nth=nth, of=of))
    return result


def _nth(book: files.Workbook, table: Table) -> Position:
    """Which of how many tables with these headings it is, 0 of 0 where it is the only one."""
    wanted = {guess.text for guess in table.guesses}
    if table.kind == "card":
        return 0, 0
    rows, merged = own_cells.rows_of_texts(book.cells(table.tab)), book.merged(table.tab)
    tops = [r for r in sorted(rows) if wanted <= set(own_cells.joined(rows, merged, r, table.lines).values())]
    return (tops.index(table.top) + 1, len(tops)) if len(tops) > 1 and table.top in tops else (0, 0)


def _system(book: files.Workbook) -> System:
    """The unit system that the headings of a workbook speak of, '' where they speak of both or none."""
    named = set()
    for tab in book.sheets:
        for cell in islice(book.cells(tab).values(), MOST_CELLS):
            if (
                isinstance(cell.value, str)
                and len(cell.value) <= LONGEST_HEADING
                and not own_cells.NUMBERED.match(cell.value)
            ):
                if squeezed(cell.value) in vocabulary().abroad:
                    named.add("L")
                named |= {vocabulary().units.get(unit_text(raw), "") for raw in split(cell.value).units}
    us, metric = bool(named & adopted.US_UNITS), bool(named & METRIC_UNITS)
    return "us" if us and not metric else "metric" if metric and not us else ""


def _heading_rows(cells: Cells) -> tuple[set[int], list[int], dict[int, set[int]]]:
    """The rows of nothing but words, the last of each run of them, and the columns with values by row."""
    texts: set[int] = set()
    measured: dict[int, set[int]] = {}
    for (row, column), cell in cells.items():
        if own_cells.is_measured(cell):
            measured.setdefault(row, set()).add(column)
        elif isinstance(cell.value, str) and cell.value.strip() and len(cell.value) <= LONGEST_HEADING:
            texts.add(row)
    wordy = (texts - measured.keys()) | {
        row for row in texts & measured.keys() if _has_card(cells, row, measured[row])
    }
    bottoms = [row for row in sorted(wordy) if row + 1 not in wordy][:MOST_HEADING_ROWS]
    return wordy, bottoms, measured


def _has_card(cells: Cells, row: int, values: set[int]) -> bool:
    """Whether a row of headings has nothing but labels of a card beside it, each with its value."""
    labels = {column - 1 for column in values}
    beside = all((row, c) in cells and (row, c - 1) not in cells and c not in values for c in labels)
    return beside and sum((row, c) in cells for c in range(1, min(labels))) >= FEWEST_BESIDE


def _tables(book: files.Workbook, tab: str, cells: Cells, system: System) -> list[Table]:
    wordy, bottoms, measured = _heading_rows(cells)
    rows, merged = own_cells.rows_of_texts(cells), book.merged(tab)
    candidates: list[Table] = []
    for bottom in bottoms:
        for lines in range(1, own_cells.MOST_LINES + 1):
            top = bottom - lines + 1
            if top not in wordy:
                break
            headings = own_cells.joined(rows, merged, top, lines)
            last = own_cells.joined(rows, merged, bottom, 1)
            lone = [rows[r] for r in range(top - 4, top) if len(rows.get(r, ())) in (1, 2)]
            titles = [tab, *(text for row in lone for text in row.values())]
            for block in _blocks(headings, measured, bottom):
                sampled = _sampled(cells, bottom + 1, block)
                columns = list(columns_of(cells, sampled, block, last, rows.get(bottom - 1, {})))
                fits = _fits(titles, lines, columns, headings, system)
                candidates += [table] if (table := _chosen(fits, columns)) else []
    chosen: list[Table] = []
    for table in sorted(candidates, key=lambda t: (-t.score, t.lines)):
        if not any(_overlap(table.rows, t.rows) and _overlap(table.columns, t.columns) for t in chosen):
            chosen.append(table)
    return sorted(chosen, key=lambda t: (t.top, t.guesses[0].place[1]))


def left_alone(book: files.Workbook, found: Sequence[Table]) -> list[Unread]:
    """What looks like a table in a workbook beside those that were found, in the order of its sheets."""
    left: list[Unread] = []
    for tab in book.sheets:
        cells = ours.left_out(book, tab)
        rows, (wordy, bottoms, measured) = own_cells.rows_of_texts(cells), _heading_rows(cells)
        known = [(table.top, table.columns) for table in found if table.tab == tab and table.kind == "table"]
        for bottom in bottoms:
            top = next(row for row in range(bottom, 0, -1) if row - 1 not in wordy)
            texts = {c: text for c, text in rows[bottom].items() if len(text) <= LONGEST_HEADING}
            for block in _blocks(texts, measured, bottom):
                columns = range(min(block), max(block) + 1)
                above = max(
                    (t for t, others in known if t <= bottom and _overlap(others, columns)), default=0
                )
                # The headings of another table have a blank row above them.
                apart = above < top and not (above and any((top - 1, column) in cells for column in columns))
                if apart and _has_values(cells, bottom + 1, block):
                    known.append((bottom, columns))
                    left.append(Unread(tab, bottom, block))
    return left


def is_of_the_trade(table: Unread) -> bool:
    """Whether a heading of a table that was not recognised names a gravity or a strength, or a unit."""
    called = vocabulary().words
    words = [
        *called["fermentation"]["reading"],
        *(word for sheet in ("strength", "cuts") for word in called[sheet]["reading"]),
    ]
    for text in table.headings.values():
        heading = split(text)
        labels = [label_for(raw, quantity) for raw in heading.units for quantity in (*TELLING, "temperature")]
        if any(labels) or (heading.bare in words and heading.bare not in _COMMON):
            return True
    return False


def _has_values(cells: Cells, row: int, block: Mapping[int, str]) -> bool:
    """Whether measured values stand below headings: two side by side, or one in a table of three columns.

    A line of two with one value may be a label, too.
    """
    values = sum(_has_value(cells, (row, column)) for column in block)
    return values > 1 or (values == 1 and len(block) > 2)


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


def _fits(
    titles: Sequence[str],
    lines: int,
    columns: Sequence[Column],
    headings: Mapping[int, str],
    system: System,
) -> list[Table]:
    """The sheets of ours that some headings may be, the best first.

    titles: the tab's name, which comes first, and what stands above the headings; headings: all of their row.
    """
    fits: list[Table] = []
    for key in vocabulary().words:
        sheet = layouts.every_sheet().get(key)
        if sheet is None or not sheet.columns:
            continue
        guesses = _with_numbers(sheet, columns, assigned(sheet, guesses_of(sheet, columns, system)))
        guesses = [_doubted_if_repeated(sheet, guess, columns) for guess in guesses]
        called = vocabulary().words["titles"].get(key, ())
        titled = max(resemblance(squeezed(text), called)[0] for text in titles)
        if not _is_log(sheet, guesses, titled >= SURE):
            continue
        score = _score(sheet, guesses) + (0.75 if titled >= SURE else 0.5 * (titled > 0)) - 0.05 * lines
        known, dates = {guess.place for guess in guesses}, {guess.date for guess in guesses}
        unknown = tuple((c.place, c.text) for c in columns if c.place not in known and c.text not in dates)
        top = columns[0].place[0] + 1 - lines
        numbered = tuple(_numbered(guesses, headings))
        table = Table(sheet, "table", titles[0], top, lines, numbered, unknown, score)
        if titled < DOUBTFUL and not _is_of_the_trade(guesses):
            table = _in_doubt(table, "nothing but a % speaks for it")
        fits.append(table)
    return sorted(fits, key=lambda table: -table.score)


def _with_numbers(sheet: Sheet, columns: Sequence[Column], guesses: Sequence[Guess]) -> list[Guess]:
    """The guesses, and the first column for the jars or runs where it counts them under a strange heading."""
    field = sheet.field({"cuts": "jar", "runs": "run"}.get(sheet.key, ""))
    first = columns[0]
    values = [str(cell.value).strip().removesuffix(".0") for cell in first.sample]
    counts = len(values) >= FEWEST_COUNTED and values == [str(n + 1) for n in range(len(values))]
    taken = any(g.place == first.place or g.field is field or g.date == first.text for g in guesses)
    if field is None or taken or not counts or _is_a_word_of_ours(split(first.text).bare):
        return list(guesses)
    why = ("its cells count from 1",)
    return [Guess(first.place, first.text, field, "", LIKELY, why, tuple(values[:3]), LIKELY), *guesses]


def _doubted_if_repeated(sheet: Sheet, guess: Guess, columns: Sequence[Column]) -> Guess:
    """A guess, switched off where it would tell one run from the other and holds one value several times."""
    values = [str(cell.value) for column in columns if column.place == guess.place for cell in column.sample]
    if (sheet.key, guess.field.key) == ("runs", "run") and len(set(values)) < len(values):
        return doubted(guess, "its values repeat, as those of a run do not")
    return guess


def _chosen(fits: Sequence[Table], columns: Sequence[Column]) -> Table | None:
    """The sheet of ours that a table is, switched off where that is in doubt; None where it is none."""
    if not fits:
        return None
    table, rivals = fits[0], [fit.sheet for fit in fits[1:] if fits[0].score - fit.score < MARGIN]
    more = bool({g.field.key for g in table.guesses} & MORE_THAN_STOCK.get(table.sheet.key, set()))
    if _named(columns, "vessel") and _named(columns, "kept") > 1 and not more:
        return None
    if rivals:
        return _in_doubt(table, f'the table could be "{rivals[0].title}" ({rivals[0].key}), too')
    if len(table.unknown) > len(table.guesses):
        return _in_doubt(table, "most headings of the table are not recognised")
    if _named(columns, "vessel") and not more and not _is_mixed(table, columns):
        return _in_doubt(table, "the table could be a list of what lies in which vessel, too")
    return table


def _named(columns: Sequence[Column], kind: str) -> int:
    """How many headings are such as lists of stock have: a "vessel", or what is "kept" in it."""
    return sum(squeezed(split(column.text).bare) in vocabulary().words["stock"][kind] for column in columns)


def _is_mixed(table: Table, columns: Sequence[Column]) -> bool:
    """Whether a table names a lot for each of its parts, as a blend does and no list of vessels."""
    lots = {g.place for g in table.guesses if g.field.key == "lot" and table.sheet.key == "blend"}
    named = [cell.value for column in columns if column.place in lots for cell in column.sample]
    return len(set(named)) < len(named)


def _in_doubt(table: Table, why: str) -> Table:
    """A table that may be no such sheet of ours: all of it is left to the person."""
    return replace(table, guesses=tuple(doubted(guess, why) for guess in table.guesses))


def _sampled(cells: Cells, first: int, block: Mapping[int, str]) -> list[int]:
    """The first rows of a table, up to the next headings or the blank rows that end it; at least one."""
    rows, blank = [first], 0
    for row in range(first, first + SAMPLED):
        line = [cells[row, column] for column in block if (row, column) in cells]
        worded = [cell for cell in line if not own_cells.is_measured(cell)]
        blank = 0 if line else blank + 1
        if blank == own_cells.BLANK_ROWS or (len(line) > 1 and len(worded) == len(line)):
            break
        if not (line and isinstance(line[0].value, str) and entries.is_total(line[0].value)):
            rows.append(row)
    return list(dict.fromkeys(rows))


def _numbered(guesses: Sequence[Guess], headings: Mapping[int, str]) -> Iterator[Guess]:
    """The guesses, with their number from the left where a heading stands there more than once."""
    for guess in guesses:
        alike = [column for column, text in headings.items() if text.casefold() == guess.text.casefold()]
        nth = alike.index(guess.place[1]) + 1
        yield replace(guess, nth=nth, of=len(alike)) if len(alike) > 1 else guess


def _is_of_the_trade(guesses: Sequence[Guess]) -> bool:
    """Whether headings say more than "%", a number and what any list has."""
    for guess in guesses:
        words = split(guess.text)
        percent = words.only_units and set(words.units) == {"%"}
        sure = guess.fits >= LIKELY and not percent
        if (
            sure
            and (guess.field.quantity in TELLING or guess.field.key in OURS_ALONE)
            and not _is_number(words)
        ):
            return True
    return False


def _is_number(words: Words) -> bool:
    """Whether a heading may number anything: runs, jars or bottles."""
    called = vocabulary().words
    return all(
        words.bare in called[sheet][key]
        for sheet, key in (("runs", "run"), ("cuts", "jar"), ("bottling", "bottles"))
    )


def _is_log(sheet: Sheet, guesses: Sequence[Guess], titled: bool) -> bool:
    """Whether enough is recognised, and something of the trade among it; less will do under a title."""
    good = [g for g in guesses if g.fits >= LIKELY]
    typed = [g for g in good if g.field.role == "entry" and g.field.quantity not in WEAK]
    # Words that we know in the cells, such as hearts and bentonite, tell as well as a title does.
    worded = any(g.field.key in WORDED and g.seen for g in good)
    trade = any(
        g.field.quantity in TELLING and (g.fits >= LIKELY or titled or split(g.text).units) for g in guesses
    )
    telling = titled or worded or trade
    keys = {g.field.key for g in guesses}
    if sheet.key in OWN:
        own = any(g.field.key in OWN[sheet.key] and (titled or not _is_number(split(g.text))) for g in typed)
        return own and len(typed) >= (2 if telling else 3)
    if sheet.key == "tasting":
        return len(typed) >= 2 and "sample" in keys and (titled or "taster" in keys)
    if sheet.key == "blend" and not ("part" in keys and (titled or "lot" in keys)):
        return False
    if sheet.key == "runs" and titled and {"charge_volume", "collected_volume"} <= keys:
        return True
    if sheet.key == "cuts" and worded and "volume" in keys:
        return True
    return len(typed) >= 2 and trade


def _score(sheet: Sheet, guesses: Sequence[Guess]) -> float:
    weights = {"entry": 1.0, "computed": 0.6, "flag": 0.0}
    total = sum(g.sure * (0.4 if g.field.quantity in WEAK else weights[g.field.role]) for g in guesses)
    known = {g.field.key for g in guesses}
    lacking = [c for c in sheet.columns if c.needed and c.quantity not in WEAK and c.key not in known]
    return total - 0.4 * len(lacking)


def _card(cells: Cells, tab: str, tables: Sequence[Table], system: System) -> Table | None:
    """Lines of label and value that our batch card has, above, beside or without a table."""
    sheet = layouts.every_sheet()[adopted.CARD]
    fields = [f for f in sheet.fields if f.role == "entry" and f.key in vocabulary().words[adopted.CARD]]
    guesses: dict[str, Guess] = {}
    for place, text, value, unit in _labels(cells, tables):
        for field in fields:
            if _PRICED.search(unit) and field.quantity != "money":
                continue
            guess = guess_of(sheet, field, place, f"{text} ({unit})" if unit else text, [value], system)
            if guess and guess.sure >= LIKELY and _on_a_card(guess, cells, tables):
                kept = guesses.get(field.key)
                if kept is None or guess.sure > kept.sure:
                    guesses[field.key] = replace(guess, text=text)
    by_place = {guess.place: guess for guess in sorted(guesses.values(), key=lambda g: g.sure)}
    if not by_place:
        return None
    found = tuple(by_place[place] for place in sorted(by_place))
    labels = {place: text for place, text, _, _ in _labels(cells, tables)}
    unknown = tuple((place, labels[place]) for place in sorted(labels) if _is_beside(place, by_place, labels))
    return Table(sheet, "card", tab, found[0].place[0], 1, found, unknown, 0.0)


def _is_beside(place: Position, known: Container[Position], labels: Container[Position]) -> bool:
    """Whether a label that is not recognised stands among such as are, in a column without a gap."""
    row, column = place
    if place in known:
        return False
    for step in (-1, 1):
        next_ = row + step
        while (next_, column) in labels:
            if (next_, column) in known:
                return True
            next_ += step
    return False


def _labels(cells: Cells, tables: Sequence[Table]) -> Iterator[tuple[Position, str, Cell, str]]:
    """What may be the labels of a card, each with its text, value and unit, if one stands beside."""
    headings = {(t.top + line, g.place[1]) for t in tables for line in range(t.lines) for g in t.guesses}
    times = Counter(c.value.casefold() for c in cells.values() if isinstance(c.value, str))
    for place, cell in sorted(islice(cells.items(), MOST_CELLS)):
        if not isinstance(cell.value, str) or len(cell.value) > LONGEST_HEADING or place in headings:
            continue
        text, at = " ".join(cell.value.split()), own_cells.value_of(cells, place)
        if at not in cells or times[cell.value.casefold()] > 1 or (place[0] + 1, place[1]) in headings:
            continue
        unit = _unit_beside(cells, at)
        # A unit is no label, and a line of several values is one of a list, such as of stock and its prices.
        if not split(text).only_units and not _has_value(cells, (at[0], at[1] + 1 + bool(unit))):
            yield place, text, cells[at], unit


def _unit_beside(cells: Cells, value: Position) -> str:
    """The unit or the price's unit that stands in the cell right of a card's value, '' where none does."""
    cell = cells.get((value[0], value[1] + 1))
    text = cell.value.strip() if cell and isinstance(cell.value, str) else ""
    is_unit = len(text) <= LONGEST_HEADING and (split(text).only_units or _PRICED.search(text))
    return text if is_unit else ""


def _has_value(cells: Cells, place: Position) -> bool:
    return place in cells and own_cells.is_measured(cells[place])


def _on_a_card(guess: Guess, cells: Cells, tables: Sequence[Table]) -> bool:
    """Whether words beside words are a label and its value, and not two headings or part of a record."""
    if guess.field.quantity != "text":
        return True
    row, column = own_cells.value_of(cells, guess.place)
    value, after = cells[row, column].value, cells.get((row, column + 1))
    if not isinstance(value, str):
        # A batch may be called 26, a yeast is not: that is what it cost.
        return guess.field.key == "batch_code" and guess.sure >= SURE
    heading = after is not None or _is_a_word_of_ours(squeezed(value)) or bool(split(value).units)
    in_record = any(table.top <= row and guess.place[1] in table.columns for table in tables)
    return guess.sure >= SURE and not heading and not in_record


def _is_a_word_of_ours(text: str) -> bool:
    return any(text in called for keys in vocabulary().words.values() for called in keys.values())
