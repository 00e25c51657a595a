"""What each heading of a person's own table or card seems to be, how sure, and why."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

from sheetcalc import entries, units
from sheetcalc.files import Cell, Cells, Position
from sheetcalc.findings import address
from sheetcalc.layouts import Field, Sheet
from sheetcalc.own import cells as own_cells
from sheetcalc.own.headings import (
    Words,
    is_short_for,
    label_for,
    resemblance,
    split,
    squeezed,
    unsaid,
    unsaid_of,
    vocabulary,
)

System = Literal["metric", "us", ""]
SURE, LIKELY, DOUBTFUL = 0.85, 0.7, 0.5
CLOSE = 0.04  # of one another, within which two matches are as good
PARTLY = 0.95  # of a match by the last line of several alone
NAMED = 0.95  # of a match by words that mean another key, too, whose cells don't fit
SHORTENED = 0.97  # of a match by what is left of the words where the unit says the rest
# The reading that a temperature belongs to stands beside it.
READ_AT = {
    "sample_temperature": "reading",
    "temperature": "reading",
    "collected_temperature": "collected_reading",
    "temperature_after": "reading_after",
}
READ_AT_SAMPLES = (
    "fermentation.sample_temperature",
    "fermentation.wash_temperature",
    "runs.collected_temperature",
    "cuts.temperature",
    "strength.temperature",
    "strength.temperature_after",
)
# What a heading with a reference temperature holds, in the place of the reading.
TRUE_OF = {"strength_20": "reading", "collected_strength": "collected_reading", "gravity_20": "reading"}
# What is usual, in base units, and the units that tell by it which one is meant where no heading says so.
USUAL = {
    "bottling.bottle_size": (0.2, 1.5, ("mL", "cL", "L")),
    "cuts.volume": (0.1, 5.0, ("mL", "L")),
    **dict.fromkeys(READ_AT_SAMPLES, (5.0, 38.0, ("°C", "°F"))),
}
# The strength that stands right of a volume, where its heading says no more.
BESIDE = {
    "charge_volume": "charge_strength",
    "collected_volume": "collected_reading",
    "volume_in": "strength_in",
    "volume_out": "strength_out",
}
SHORTEST_UNIT = 3  # letters of a unit among the words of a heading, such as in "proof off"
TELLING = ("gravity", "strength", "mark")  # quantities that nobody but the trade measures


@dataclass(frozen=True)
class Guess:
    """What a heading is taken for: our field, the unit, how sure from 0 to 1, why, and the first values.

    `date` is the heading of the dates where this one is that of the times of day alone; `added` tells that
    a fill added the column. `fits` is how sure the key is, whatever the unit.
    """

    place: Position
    text: str
    field: Field
    unit: str
    sure: float
    why: tuple[str, ...]
    seen: tuple[str, ...]
    fits: float
    nth: int = 0
    of: int = 0
    date: str = ""
    added: bool = False

    @property
    def grade(self) -> str:
        """How sure, in a word."""
        return "sure" if self.sure >= SURE else "likely" if self.sure >= LIKELY else "doubtful"


class Column(NamedTuple):
    """A column of theirs: its heading, the last line of that, its first values, the heading of its dates.

    `of` is the heading with the words of the one left of it or of a group, where it is a unit alone.
    """

    place: Position
    text: str
    line: str
    of: str
    sample: list[Cell]
    date: str


def columns_of(
    cells: Cells,
    rows: Sequence[int],
    block: Mapping[int, str],
    last: Mapping[int, str],
    groups: Mapping[int, str],
) -> Iterator[Column]:
    """The columns of a table; times of day with their dates, where another column holds those.

    groups: the row above the last line of headings, where a text may stand for the columns right of it, too.
    """
    samples = {c: {row: cells[row, c] for row in rows if (row, c) in cells} for c in block}
    days = [
        c for c, text in block.items() if _all(_is_day, samples[c]) and list(block.values()).count(text) == 1
    ]
    left = ""
    for column, text in block.items():
        sample, date = samples[column], ""
        line = last.get(column, text)
        alone = split(line).only_units
        left = _owner(groups[column]) if column in groups else left if alone else _owner(line)
        if days and _all(_is_clock, sample):
            # The date stands left of the time, as a rule.
            day = min(days, key=lambda c: (c > column, abs(c - column)))
            moments = {row: own_cells.at_time(samples[day].get(row), clock) for row, clock in sample.items()}
            sample, date = {row: cell for row, cell in moments.items() if cell}, block[day]
        unit = line if split(line).corrected else split(line).units[0] if alone else ""
        of = f"{left} ({unit})" if alone and left else ""
        yield Column((rows[0] - 1, column), text, line, of, list(sample.values()), date)


def _owner(heading: str) -> str:
    """What a heading says besides a quantity and its unit."""
    words = split(heading).bare
    for quantity in vocabulary().quantities:
        words = unsaid(words, quantity)
    return words


def _all(holds: Callable[[Cell], bool], sample: Mapping[int, Cell]) -> bool:
    filled = [cell for cell in sample.values() if cell.value not in (None, "")]
    return bool(filled) and all(map(holds, filled))


def _is_clock(cell: Cell) -> bool:
    return cell.kind in ("moment", "text") and own_cells.time_of_day(cell) is not None


def _is_day(cell: Cell) -> bool:
    """Whether a cell holds a date without a time."""
    try:
        days = units.read_moment(cell.value)[0] if isinstance(cell.value, str) else cell.value
    except ValueError:
        return False
    return isinstance(days, float) and cell.kind in ("moment", "text") and days >= 1 and days.is_integer()


def guesses_of(sheet: Sheet, columns: Sequence[Column], system: System) -> list[Guess]:
    """All that each heading could be; a unit alone is of what stands left of it, if that says something."""
    guesses: list[Guess] = []
    left: list[Guess] = []
    for column in columns:
        own = _of_text(sheet, column, column.of, system)
        if not any(guess.fits >= SURE for guess in own):
            beside = _beside(sheet, column, left, system)
            own = [beside] if beside else _of_text(sheet, column, column.text, system)
        guesses += own
        left = own
    return guesses


def _of_text(sheet: Sheet, column: Column, text: str, system: System) -> list[Guess]:
    """All that a column could be by a text that may be its heading."""
    return [g for field in sheet.columns if (g := _of_column(sheet, field, column, text, system))]


def _beside(sheet: Sheet, column: Column, left: Sequence[Guess], system: System) -> Guess | None:
    """The strength of the volume left of it, for a column whose heading says no more than a strength."""
    best = max((guess.fits for guess in left), default=0)
    pairs = {BESIDE.get(g.field.key, "") for g in left if g.fits >= max(SURE, best - CLOSE)}
    field = sheet.field(pairs.pop()) if len(pairs) == 1 else None
    words = split(column.line)
    if field is None or words.corrected or not (words.only_units or not unsaid(words.bare, field.quantity)):
        return None
    text = f"{field.heading} ({words.units[0]})" if words.units else field.heading
    guess = _of_column(sheet, field, column, text, system)
    return guess if guess and guess.fits >= SURE else None


def _of_column(sheet: Sheet, field: Field, column: Column, text: str, system: System) -> Guess | None:
    """What speaks for a column being this field, by a text that may be its heading."""
    whole = guess_of(sheet, field, column.place, text, column.sample, system) if text else None
    # The last line of several may say all there is to say, unless the others say something else.
    if text == column.text != column.line:
        part = guess_of(sheet, field, column.place, column.line, column.sample, system)
        if part and not _is_elsewhere(split(text), field, part.sure):
            part = replace(part, sure=part.sure * PARTLY, fits=part.fits * PARTLY)
            whole = part if whole is None or part.fits > whole.fits else whole
    if whole and column.date:
        whole = replace(whole, date=column.date, why=(*whole.why, f'with the date in "{column.date}"'))
    return replace(whole, text=column.text) if whole else None


def assigned(sheet: Sheet, guesses: list[Guess]) -> list[Guess]:
    """The best fitting key for each heading, each key once; the most certain first."""
    order = {field.key: place for place, field in enumerate(sheet.columns)}
    # A time of day with its date before the date alone.
    guesses.sort(
        key=lambda g: (not g.date, -round(g.fits, 3), g.field.role != "entry", g.place[1], order[g.field.key])
    )
    keys: set[str] = set()
    dates: set[str] = set()
    columns: dict[int, Guess] = {}
    for guess in guesses:
        column = guess.place[1]
        if guess.text in dates:
            continue
        if column in columns:
            rival = columns[column]
            # The very word is not in doubt for another that it resembles.
            if (
                (guess.fits == 1 or rival.fits < 1)
                and rival.fits - guess.fits < CLOSE
                and guess.field.role == "entry"
                and guess.field.key not in keys
            ):
                columns[column] = doubted(rival, f'could be "{guess.field.heading}" ({guess.field.key}), too')
        elif guess.field.key not in keys:
            keys.add(guess.field.key)
            dates |= {guess.date} - {""}
            columns[column] = guess
    return sorted(_settled(guesses, columns), key=lambda g: g.place)


def _settled(guesses: Sequence[Guess], columns: Mapping[int, Guess]) -> Iterator[Guess]:
    """The guess for each key; switched off where a column that is left over may be the one meant."""
    keys = {guess.field.key: column for column, guess in columns.items()}
    for column, won in columns.items():
        rivals = [
            g
            for g in guesses
            if g.field.key == won.field.key and g.place[1] not in columns and won.sure - g.sure < CLOSE
        ]
        beside = keys.get(READ_AT.get(won.field.key, ""), 0) + 1
        nearest = next((g for g in rivals if g.place[1] == beside), won)
        if not won.field.units or all(g.unit != won.unit for g in rivals) or column == beside:
            yield won
        elif nearest is not won:
            yield nearest
        else:
            others = " and ".join(address(*g.place) for g in rivals[:3])
            yield doubted(won, f"{others} could be it, too")


def doubted(guess: Guess, why: str) -> Guess:
    """A guess that is switched off for a reason."""
    return replace(guess, sure=min(guess.sure, LIKELY - 0.01), why=(*guess.why, why))


def _called(words: Words, names: tuple[str, ...], quantity: str, unit: bool) -> tuple[float, str]:
    """How well a heading fits names, and the name; what kind of value it is, its unit may say instead."""
    score, name = max(resemblance(words.bare, names), resemblance(words.whole, names))
    rest = unsaid(words.bare, quantity)
    if rest and (unit or rest != words.bare) and is_short_for(rest, unsaid_of(names, quantity)):
        return max((score, name), (SHORTENED, rest))
    return score, name


def _is_elsewhere(words: Words, field: Field, score: float) -> bool:
    """Whether a heading names something that the field does not hold, such as the temperature of the air."""
    known = vocabulary().words
    others = known["elsewhere"].get(field.quantity, ())
    if field.quantity == "temperature":
        kinds = {"wash_temperature": "fermentation", "vapour_temperature": "cuts"}
        others += sum((known[sheet][key] for key, sheet in kinds.items() if key != field.key), ())
    elsewhere = _called(words._replace(whole=words.bare), others, field.quantity, bool(words.units))[0]
    return score < 1 and 0 < elsewhere >= score


def guess_of(
    sheet: Sheet, field: Field, place: Position, text: str, sample: Sequence[Cell], system: System
) -> Guess | None:
    """What speaks for a heading being this field, None where little does."""
    words = split(text)
    called = vocabulary().words.get(sheet.key, {})
    names = (*called.get(field.key, ()), squeezed(field.heading))
    named = words.units or [word for word in words.bare.split() if len(word) >= SHORTEST_UNIT]
    labels = [label for raw in named if (label := label_for(raw, field.quantity))]
    score, synonym = _called(words, names, field.quantity, bool(labels))
    if _is_elsewhere(words, field, score):
        return None
    if words.corrected:
        if field.key in TRUE_OF:
            same = resemblance(words.bare, called.get(TRUE_OF[field.key], ()))
            score, synonym = max((score, synonym), same)
        elif field.key in TRUE_OF.values():
            score *= 0.4
    said = words.whole in names and words.bare not in names  # "fire lit" has no litres in it
    if field.quantity == "text" and any(words.bare in called[key] for key in called if key != field.key):
        score *= NAMED
    if words.units and not labels and not said:
        # A unit of something else speaks against it.
        score *= 0.3
    elif labels and words.only_units and _is_plain(field, names, words.corrected):
        score, synonym = max((score, synonym), (SURE, words.whole))
    if score < SURE and _tells(field, sample):
        score, synonym = SURE, "words of the trade"
    if score < DOUBTFUL:
        return None
    why = [f'"{synonym}" means that' if score == 1 else f'resembles "{synonym}"']
    unit, certain, reason = _unit(sheet, field, tuple(dict.fromkeys(labels)), sample, system)
    why += [reason] if reason else []
    fit, seen = _fit(field, unit, sample)
    filled = [cell for cell in sample if cell.value not in (None, "")]
    if filled:
        score *= 0.4 + 0.6 * fit
        why.append(f"{round(fit * len(filled))} of {len(filled)} values fit")
    else:
        score *= 0.9
        why.append("no values yet")
    sure = score if certain else min(score, LIKELY - 0.01)
    return Guess(place, text, field, unit, sure, tuple(why), seen, score) if sure >= DOUBTFUL else None


def _tells(field: Field, sample: Sequence[Cell]) -> bool:
    """Whether cells tell the column whatever its heading: different words, all of them of its choices."""
    words = [cell for cell in sample if cell.value not in (None, "")]
    read = [entries.read_cell(cell, field, "") for cell in words if isinstance(cell.value, str)]
    good = {value for value, problem in read if problem is None}
    return (
        field.quantity == "choice"
        and len(good) > 1
        and len(words) == len(read)
        and all(p is None for _, p in read)
    )


def _is_plain(field: Field, names: Sequence[str], corrected: bool) -> bool:
    """Whether a column is called by its quantity alone, so that a unit alone may be its heading."""
    if corrected:
        return field.key in TRUE_OF
    called = vocabulary().quantities.get(field.quantity, frozenset())
    return field.role == "entry" and not called.isdisjoint(names)


def _unit(
    sheet: Sheet, field: Field, named: tuple[str, ...], sample: Sequence[Cell], system: System
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
    if not named and (label := _usual(f"{sheet.key}.{field.key}", field, sample)):
        return label, True, f"the values are such as {label} has"
    unit = usual if usual in fitting else fitting[0]
    if named:
        return unit, False, f"the heading names {' and '.join(named)}"
    if field.quantity in ("strength", "mark", "temperature") and system and unit == field.unit[system]:
        return unit, True, f"no unit in the heading; the others are {'US' if system == 'us' else 'metric'}"
    return unit, False, f"no unit in the heading; {unit} is a guess"


def _usual(name: str, field: Field, sample: Sequence[Cell]) -> str:
    """The one unit in which all values are such as the column usually has, '' where none or several are."""
    low, high, labels = USUAL.get(name, (0.0, 0.0, ()))
    read = [(label, entries.read_cell(c, field, label)[0]) for label in labels for c in sample if c.value]
    held = {label for label, value in read if low <= float(value) <= high}
    usual = [label for label in held if all(low <= float(v) <= high for other, v in read if other == label)]
    return usual[0] if len(usual) == len(held) == 1 else ""


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
        words = isinstance(cell.value, str) and not own_cells.is_measured(cell)
        if field.quantity == "text":
            good += words or len(str(cell.value)) < 12
        elif problem is None or problem.rule in ("date_in_doubt", "comma_in_doubt"):
            good += 1
        if len(seen) < 3 and value == value and value != "":
            shown = value if isinstance(value, str) else units.show(value, field.quantity, unit)
            seen.append(units.one_line(str(shown), 30))
    return (good / count if count else 0.0), tuple(seen)
