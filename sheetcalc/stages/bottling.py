"""The bottling sheet: what went into bottles, whether it was there, and whether label and law agree."""

import re
from typing import Any, NamedTuple

import numpy as np

from sheetcalc import law, units
from sheetcalc.instruments import Instrument
from sheetcalc.liquids import Array, spirit
from sheetcalc.stages import lots, slips
from sheetcalc.stages.registry import check, column
from sheetcalc.stages.slips import Mask, Texts

SMALLEST, LARGEST = 0.02, 5.0  # L, of a bottle: a miniature, a demijohn
WEAKEST_LABEL = 15.0  # % vol; the least that is sold as spirit, liqueurs too (EU 2019/787)
STRONGEST_LABEL = 97.0  # % vol; no still gives more, so that the label itself is wrong
MEASURES = 0.03  # share: the lot's measure and the filling, each good to about 2 %
SEEN = 0.0005  # L; less is not shown
ONE_SPIRIT = 1.5  # % vol between label, reading and lot; half or double of one never comes so near
SOON = 180.0  # d within which most spirit is bottled that does not rest in wood (common practice)
COMMON_STRENGTH = 40.0  # % vol; what most spirit is bottled at (common practice)


class Lot(NamedTuple):
    """A lot before any of it was bottled: volume L, strength % vol, when it was ready (NaN: unknown)."""

    volume: float
    strength: float
    ready_at: float


NO_LOT = Lot(np.nan, np.nan, np.nan)


@column("bottling")
def brought_to(strength_strength_after: Array, strength_final_strength: Array) -> Array:
    """Strength (% vol) of each lot on the strength sheet after mixing: measured, or else expected."""
    return np.where(np.isnan(strength_strength_after), strength_final_strength, strength_strength_after)


@column("bottling")
def going_on(
    strength_lot: Any,
    strength_volume: Array,
    strength_strength_20: Array,
    strength_final_volume: Array,
    brought_to: Array,
    carbon_volume_out: Array,
    carbon_strength_out: Array,
    strength_doubt: float,
) -> Mask:
    """Which lots on the strength sheet start from what another line, or the filter, gave."""
    return lots.goes_on(
        strength_volume,
        strength_strength_20,
        strength_final_volume,
        brought_to,
        carbon_volume_out,
        carbon_strength_out,
        strength_doubt * np.sqrt(2),
        strength_lot,
    )


@column("bottling")
def brought_lots(
    strength_lot: Any,
    strength_final_volume: Array,
    strength_less_than_used: Mask,
    brought_to: Array,
    going_on: Mask,
) -> dict[str, Lot]:
    """The lots of the strength sheet by name; of a lot in several steps the last."""
    names = lots.names(strength_lot, going_on)
    volumes = np.where(strength_less_than_used, np.nan, strength_final_volume)
    strengths = np.broadcast_to(brought_to, names.shape)
    return {
        name: Lot(
            lots.volume_of(name, names, volumes, going_on),
            float(np.fmin.reduce(strengths[names == name])),
            np.nan,
        )
        for name in filter(None, dict.fromkeys(names))
    }


@column("bottling")
def blended_lots(blend_lot: Any, blend_blend_volume: Array, blend_blend_strength: Array) -> dict[str, Lot]:
    """The lots of the blend sheet by name; what a blend is stands on its first line."""
    names = lots.names(blend_lot, blend_blend_volume)
    blends = zip(names, blend_blend_volume, blend_blend_strength, strict=True)
    return {
        name: Lot(float(litres), float(strength), np.nan)
        for name, litres, strength in blends
        if name and np.isfinite(litres)
    }


@column("bottling")
def passes(
    carbon_lot: Any,
    carbon_volume_in: Array,
    carbon_volume_out: Array,
    brought_lots: dict[str, Lot],
    blended_lots: dict[str, Lot],
) -> list[tuple[str, Mask, bool]]:
    """For each lot on the carbon sheet: its name, its lines, whether they are passes of the same spirit."""
    known = {name: lot.volume for name, lot in {**blended_lots, **brought_lots}.items()}
    names = lots.names(carbon_lot, carbon_volume_in)
    return lots.filtered(names, carbon_volume_in, known, carbon_volume_out)


@column("bottling")
def filtered_lots(
    passes: list[tuple[str, Mask, bool]],
    carbon_volume_out: Array,
    carbon_strength_out: Array,
    carbon_ended: Array,
) -> dict[str, Lot]:
    """The lots of the carbon sheet by name; of several passes the last, which gave least."""
    out, strength, ended = np.broadcast_arrays(
        *map(np.atleast_1d, (carbon_volume_out, carbon_strength_out, carbon_ended))
    )
    return {
        name: Lot(
            float(out[at].min() if again else out[at].sum()),
            float(np.fmin.reduce(strength[at])),
            float(np.fmin.reduce(ended[at])),
        )
        for name, at, again in passes
        if name
    }


@column("bottling")
def blended_first(
    strength_lot: Any,
    strength_volume: Array,
    strength_strength_20: Array,
    carbon_lot: Any,
    carbon_volume_in: Array,
    carbon_strength_in: Array,
    blend_lot: Any,
    blend_part: Any,
    blended_lots: dict[str, Lot],
    strength_doubt: float,
) -> set[str]:
    """The lots that were blended before they were brought to strength or filtered under the same name.

    A line of theirs there starts from the blend: at its strength, and from no more than there was of it. A
    blend that has the lot itself for a part was poured later.
    """
    parts = lots.names(blend_part, blend_part)
    later = {lot for lot, part in zip(lots.names(blend_lot, parts), parts, strict=True) if lot == part}
    started = (
        (strength_lot, strength_volume, strength_strength_20),
        (carbon_lot, carbon_volume_in, carbon_strength_in),
    )
    first = set()
    for lot, volumes, strengths in started:
        for name, litres, at in zip(lots.names(lot, volumes), volumes, strengths, strict=True):
            blend = blended_lots.get(name, NO_LOT)
            alike = abs(at - blend.strength) <= strength_doubt * np.sqrt(2)
            if alike and litres <= blend.volume * (1 + lots.SAME_VOLUME):
                first.add(name)
    return first - later


@column("bottling")
def of_lot(
    lot: Any,
    bottles: Array,
    brought_lots: dict[str, Lot],
    filtered_lots: dict[str, Lot],
    blended_lots: dict[str, Lot],
    blended_first: set[str],
    strength_doubt: float,
) -> list[Lot]:
    """Each line's lot as its last sheet has it: as blended, else as filtered, else as brought to strength.

    One that is weaker on the strength sheet than it came out of the filter was brought down after that.
    """
    known = {**brought_lots, **filtered_lots}
    for name in brought_lots.keys() & filtered_lots.keys():
        brought, filtered = brought_lots[name], filtered_lots[name]
        if brought.strength < filtered.strength - strength_doubt * np.sqrt(2):
            known[name] = brought._replace(ready_at=filtered.ready_at)
    for name in blended_lots.keys() - (known.keys() & blended_first):
        known[name] = blended_lots[name]._replace(ready_at=known.get(name, NO_LOT).ready_at)
    return [known.get(name, NO_LOT) for name in lots.names(lot, bottles)]


@column("bottling")
def size(bottle_size: Array, batch_bottle_size: Array) -> Array:
    """Content of one bottle by its label (L): of the line, or else of the batch card."""
    return np.where(np.isnan(bottle_size), batch_bottle_size, bottle_size)


@column("bottling")
def volume(bottles: Array, size: Array) -> Array:
    """Volume (L) in all the bottles, by their label."""
    return bottles * size


@column("bottling")
def alcohol(volume: Array, measured_strength: Array, label_strength: Array) -> Array:
    """Pure alcohol (L) in all the bottles: by the strength measured, or else by the label's."""
    return volume * np.where(np.isnan(measured_strength), label_strength, measured_strength) / 100


@column("bottling")
def in_time(bottled_at: Array) -> Any:
    """The places of the records in the order of time, those without a date last."""
    return np.argsort(np.where(np.isnan(bottled_at), np.inf, bottled_at), kind="stable")


@column("bottling", across=True)
def there_was(lot: Any, volume_available: Array, volume: Array, of_lot: list[Lot], in_time: Any) -> Array:
    """Volume (L) of each line's lot before: typed, or what an earlier filling left, or the whole lot."""
    names = lots.names(lot, volume)
    typed = np.broadcast_to(volume_available, volume.shape)
    there = np.full(len(volume), np.nan)
    left: dict[str, float] = {}
    for i in in_time:
        there[i] = typed[i] if np.isfinite(typed[i]) else left.get(names[i], of_lot[i].volume)
        rest = there[i] - np.nan_to_num(volume[i])
        if names[i]:
            # After a line that can't be right, nobody knows.
            left[names[i]] = max(rest, 0.0) if rest >= -MEASURES * there[i] else np.nan
    return there


@column("bottling")
def left_over(there_was: Array, volume: Array) -> Array:
    """Volume (L) left of the lot after the filling; below 0 where more was bottled than there was."""
    return there_was - volume


@column("bottling")
def legal_minimum(
    product: Any, bottles: Array, place: Any, own_minimum: Array, batch_legal_minimum: Array
) -> Array:
    """Least strength (% vol) for sale: of the product in the place, or else that of the batch card."""
    names = lots.names(product, bottles)
    own, usual = float(own_minimum), float(batch_legal_minimum)
    found = [law.product_minimum(str(place), name, own) if name else usual for name in names]
    return np.array(found, dtype=float)


@column("bottling")
def tolerance(label_strength: Array) -> Array:
    """What the strength may be off from the label, % vol either way."""
    return np.where(np.isnan(label_strength), np.nan, law.LABEL_TOLERANCE)


@column("bottling")
def fill_tolerance(size: Array) -> Array:
    """What the content of a bottle may be off from its label, L either way."""
    return size * law.fill_tolerance(size)


@column("bottling")
def lot_code(batch_code: Any, bottled_at: Array, in_time: Any) -> Texts:
    """Batch code and day of filling; a second filling of that day gets -2, and so on.

    The first word of the batch code is taken, at most 14 characters. A code stays when the sheet is sorted
    and when later fillings are added.
    """
    codes = np.full(len(bottled_at), "", dtype=object)
    word = re.match(r"\s*([\w./+-]{1,14})", batch_code) if isinstance(batch_code, str) else None
    seen: dict[str, int] = {}
    for i in in_time:
        if word and np.isfinite(bottled_at[i]):
            code = f"{word[1]}-{units.moment(bottled_at[i]):%y%m%d}"
            seen[code] = seen.get(code, 0) + 1
            codes[i] = code if seen[code] == 1 else f"{code}-{seen[code]}"
    return codes


@column("bottling")
def label(
    lot_code: Texts,
    product: Any,
    wash_kind: Any,
    place: Any,
    label_strength: Array,
    size: Array,
    no_bottle: Mask,
    label_slipped: Mask,
) -> Texts:
    """What it is, strength, content and lot code as they may be printed; blank until these are sound.

    The strength has one decimal place at most (EU 1169/2011, annex XII, from memory); in the US it is
    that at 60 °F, with the proof beside it (27 CFR part 5, from memory), unless it was typed in % vol.
    """
    texts = np.full(len(lot_code), "", dtype=object)
    names = lots.names(product, lot_code)
    sound = np.isfinite(label_strength) & np.isfinite(size) & ~no_bottle & ~label_slipped
    for i in np.flatnonzero((lot_code != "") & sound):
        facts = [_what(names[i], wash_kind), _strength(label_strength[i], str(place)), _content(size[i])]
        texts[i] = ", ".join([*filter(None, facts), f"lot {lot_code[i]}"])
    return texts


def _what(product: str, wash_kind: Any) -> str:
    """The product and what it was made from, in words."""
    name = {"other": "", "neutral": "neutral alcohol"}.get(product, product)
    return f"{name} made from {wash_kind}".strip() if isinstance(wash_kind, str) and wash_kind else name


def _strength(strength: float, place: str) -> str:
    if place != "US":
        return f"{_short(strength)} % vol"
    as_typed = abs(strength - round(strength, 1)) < 1e-6
    proof = 2 * strength if as_typed else float(spirit.proof(strength))
    return f"{_short(proof / 2)} % alc/vol ({_short(proof)} proof)"


def _content(litres: float) -> str:
    return f"{_short(litres * 1000)} mL" if round(litres, 4) < 1 else f"{litres:.4g} L"


def _short(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


@column("bottling")
def no_bottle(bottle_size: Array) -> Mask:
    """Which sizes are no bottle's, but would be one's a thousand times larger or smaller."""
    return _is_bottle(bottle_size * 1000) | _is_bottle(bottle_size / 1000)


def _is_bottle(litres: Array) -> Mask:
    return np.asarray((litres >= SMALLEST) & (litres <= LARGEST))


@column("bottling")
def centilitres(bottle_size: Array, batch_bottle_size: Array) -> Mask:
    """Which sizes are a tenth of the bottle on the batch card."""
    return np.asarray(np.abs(bottle_size * 10 / batch_bottle_size - 1) < 0.001)


@column("bottling")
def overdrawn(there_was: Array, volume: Array, no_bottle: Mask) -> Mask:
    """Where more was bottled than there was, by more than the measures; a slipped size is told by itself."""
    return (volume > there_was * (1 + MEASURES)) & ~no_bottle


@column("bottling")
def usual_strength(of_lot: list[Lot], target_strength: Array) -> Array:
    """Strength (% vol) to expect in the bottles: the lot's, or else the one meant on the batch card."""
    strengths = np.array([lot.strength for lot in of_lot], dtype=float)
    return np.where(np.isnan(strengths), target_strength, strengths)


@column("bottling")
def label_slipped(label_strength: Array, measured_strength: Array, usual_strength: Array) -> Mask:
    """Where the label's strength is in another unit: twice or half of the one measured, or of what is usual.

    Of two that do not fit, the one farther from the usual is wrong. Two that fit each other are right.
    """
    alone = np.isnan(measured_strength) & _other_unit(label_strength, usual_strength)
    apart = _other_unit(label_strength, measured_strength)
    return alone | (apart & _farther(label_strength, measured_strength, usual_strength))


@column("bottling")
def measured_slipped(label_strength: Array, measured_strength: Array, usual_strength: Array) -> Mask:
    """Where the strength measured is in another unit, as for the label's."""
    alone = np.isnan(label_strength) & _other_unit(measured_strength, usual_strength)
    apart = _other_unit(label_strength, measured_strength)
    return alone | (apart & ~_farther(label_strength, measured_strength, usual_strength))


def _other_unit(strength: Array, right: Array) -> Mask:
    return _twice(strength, right) | _twice(right, strength)


def _farther(strength: Array, other: Array, usual: Array) -> Mask:
    expected = np.where(np.isnan(usual), COMMON_STRENGTH, usual)
    return np.asarray(np.abs(strength - expected) > np.abs(other - expected))


def _twice(strength: Array, of: Array) -> Mask:
    return np.asarray(np.abs(strength / 2 - of) <= ONE_SPIRIT)


@check(
    "bottling",
    cell="bottle_size",
    level="error",
    says="{typed} is no size of a bottle; {meant} would be.",
    advice="Check the unit above, or write it behind the number, such as '0.7 L'.",
)
def size_in_another_unit(bottle_size: Array, no_bottle: Mask) -> tuple[Mask, dict[str, Any]]:
    """Litres in a column of millilitres, or the other way round."""
    meant = np.where(bottle_size < SMALLEST, bottle_size * 1000, bottle_size / 1000)
    # Said in the unit that shows the slip; in the column's own it may be all zeros.
    typed = [f"{v * 1000:.4g} mL" if v < SMALLEST else f"{v:.4g} L" for v in bottle_size]
    return no_bottle, {"typed": (np.array(typed, dtype=object), ""), "meant": (meant, "bottle_size")}


@check(
    "bottling",
    cell="bottle_size",
    level="warning",
    says="{bottle_size} is a tenth of the bottle on the batch card ({card}).",
    advice="If you meant centilitres, type millilitres; if the bottles are so small, leave it.",
)
def size_in_centilitres(centilitres: Mask, batch_bottle_size: Array) -> tuple[Mask, dict[str, Any]]:
    """70 for 70 cL in a column of millilitres."""
    return centilitres, {"card": (np.broadcast_to(batch_bottle_size, centilitres.shape), "bottle_size")}


@check(
    "bottling",
    cell="bottles",
    level="warning",
    says="{count} bottles: a part of a bottle can't be sold as one.",
    advice="Count the full ones; what is left over stays with the lot.",
)
def part_of_a_bottle(bottles: Array) -> tuple[Mask, dict[str, Any]]:
    """Not a whole number."""
    counts = np.array([f"{count:.6g}" for count in bottles], dtype=object)
    return np.isfinite(bottles) & (np.mod(bottles, 1) != 0), {"count": (counts, "")}


@check(
    "bottling",
    cell="bottles",
    level="error",
    says="{volume} in bottles, but there was only {there_was} of this lot. {taken}",
    advice="Count the bottles again; check their size and the volume of the lot.",
)
def more_than_there_was(
    overdrawn: Mask, there_was: Array, volume_available: Array, of_lot: list[Lot]
) -> tuple[Mask, dict[str, Any]]:
    """More than the lot held, by more than measure and filling can be off."""
    whole = np.array([lot.volume for lot in of_lot], dtype=float)
    shared = np.isnan(volume_available) & (there_was < whole * (1 - MEASURES))
    words = np.where(shared, "Earlier fillings took the rest.", "").astype(object)
    return overdrawn, {"there_was": (np.fmax(there_was, 0.0), "volume"), "taken": (words, "")}


@check(
    "bottling",
    cell="bottles",
    level="note",
    says="{more} more than there was of this lot; measured volumes allow it.",
    advice="Nothing to do if the bottles are counted right; else check their size and the volume of the lot.",
)
def a_little_more_than_there_was(
    left_over: Array, overdrawn: Mask, no_bottle: Mask
) -> tuple[Mask, dict[str, Any]]:
    """More than the lot held, by what can be seen but what measure and filling can be off."""
    return (left_over < -SEEN) & ~overdrawn & ~no_bottle, {"more": (-left_over, "left_over")}


@check(
    "bottling",
    cell="filled_volume",
    level="warning",
    says="{filled_volume} in a bottle of {size}; {low} to {high} is usually allowed. {meant}",
    advice="Measure or weigh a few more; adjust the filling, or change the label.",
)
def fill_outside_tolerance(
    filled_volume: Array,
    size: Array,
    fill_tolerance: Array,
    no_bottle: Mask,
    centilitres: Mask,
    filled_volume_unit: str,
) -> tuple[Mask, dict[str, Any]]:
    """Beyond the tolerance of 27 CFR 19.356; measured as typed, since that can be weighed to a gram.

    Not where it fits the bottle on the batch card, and the size of the line is what is wrong.
    """
    ten_times = np.abs(filled_volume - 10 * size) <= 10 * fill_tolerance
    off = np.abs(filled_volume - size) > fill_tolerance * (1 + 1e-9)
    wrong = off & ~no_bottle & ~(centilitres & ten_times)
    words = np.full(len(wrong), "", dtype=object)
    if filled_volume_unit == "mL":
        for factor, unit in ((1000, "litres"), (10, "centilitres")):
            words[np.abs(filled_volume * factor - size) <= 0.1 * size] = f"As {unit} it would fit."
    return wrong, {
        "size": (size, "bottle_size"),
        "low": (size - fill_tolerance, "fill_tolerance"),
        "high": (size + fill_tolerance, "fill_tolerance"),
        "meant": (words, ""),
    }


@check(
    "bottling",
    cell="label_strength",
    level="note",
    says="The strength for the label is not filled in.",
    advice="Fill it in to get the label, the alcohol and the checks.",
)
def label_strength_missing(label_strength: Array, bottles: Array) -> Mask:
    """Bottles without a strength."""
    return np.isfinite(bottles) & np.isnan(label_strength)


@check(
    "bottling",
    cell="label_strength",
    level="error",
    says="{label_strength} does not fit the {expected} that this spirit should have{meant}.",
    advice="Check the unit above: 100 proof is about 50 % vol.",
)
def label_in_another_unit(
    label_slipped: Mask,
    label_strength: Array,
    measured_strength: Array,
    usual_strength: Array,
    label_strength_unit: str,
) -> tuple[Mask, dict[str, Any]]:
    """Proof in a column of % vol, or the other way round."""
    return label_slipped, _meant(label_strength, measured_strength, usual_strength, label_strength_unit)


@check(
    "bottling",
    cell="measured_strength",
    level="error",
    says="{measured_strength} does not fit the {expected} that this spirit should have{meant}.",
    advice="Check the unit above: 100 proof is about 50 % vol.",
)
def measured_in_another_unit(
    measured_slipped: Mask,
    measured_strength: Array,
    label_strength: Array,
    usual_strength: Array,
    measured_strength_unit: str,
) -> tuple[Mask, dict[str, Any]]:
    """Proof in a column of % vol, or the other way round."""
    return measured_slipped, _meant(measured_strength, label_strength, usual_strength, measured_strength_unit)


def _meant(typed: Array, other: Array, usual: Array, unit: str) -> dict[str, Any]:
    expected = np.where(np.isnan(other), usual, other)
    meant = np.where(typed > expected, "proof", "% vol")
    words = np.array(["" if m == unit else f"; as {m} it would" for m in meant], dtype=object)
    return {"meant": (words, ""), "expected": (expected, "label_strength")}


@check(
    "bottling",
    cell="measured_strength",
    level="warning",
    says="{measured_strength} in the bottle, {label_strength} on the label; more than {tolerance} either "
    "way is usually not allowed.",
    advice="Read again at about 20 °C (68 °F). If it stays, change the label, or adjust what is not bottled "
    "yet.",
)
def label_untrue(
    measured_strength: Array,
    label_strength: Array,
    tolerance: Array,
    strength_doubt: float,
    label_slipped: Mask,
    measured_slipped: Mask,
) -> tuple[Mask, dict[str, Any]]:
    """Beyond the tolerance, even if the alcoholmeter is off as far as it can be."""
    allowed = tolerance + strength_doubt
    wrong = (np.abs(measured_strength - label_strength) > allowed) & ~label_slipped & ~measured_slipped
    # A label that no spirit has is no measure of the reading.
    label = np.where(label_strength >= WEAKEST_LABEL, label_strength, np.nan)
    wrong &= ~(label_strength > STRONGEST_LABEL)
    return wrong, {"fits": (label - allowed, label + allowed)}


@check(
    "bottling",
    cell="label_strength",
    level="warning",
    says="{label_strength} on the label, but this lot has {of_the_lot}.",
    advice="Measure a bottle and type it, or change the label; if water was added since, enter that, too.",
)
def label_not_as_the_lot(
    label_strength: Array,
    measured_strength: Array,
    of_lot: list[Lot],
    strength_doubt: float,
    label_slipped: Mask,
) -> tuple[Mask, dict[str, Any]]:
    """Beyond the tolerance and what readings of the lot can be off; a bottle measured tells
    more than the lot does."""
    known = np.array([lot.strength for lot in of_lot], dtype=float)
    allowed = law.LABEL_TOLERANCE + strength_doubt * np.sqrt(2)
    wrong = np.isnan(measured_strength) & (np.abs(label_strength - known) > allowed) & ~label_slipped
    return wrong, {"of_the_lot": (known, "label_strength")}


@check(
    "bottling",
    cell="lot",
    level="note",
    says="There is no lot {lot} on {sheets_strength_carbon_blend}, so how much there was of it is not known. "
    "{meant}",
    advice="Spell it as it is spelled there, or type the volume there was.",
)
def unknown_lot(
    lot: Any, bottles: Array, volume_available: Array, strength_lot: Any, carbon_lot: Any, blend_lot: Any
) -> tuple[Mask, dict[str, Any]]:
    """A name that is on none of the sheets before, though some lots have names there."""
    columns = (strength_lot, carbon_lot, blend_lot)
    known = {n for column in columns for n in lots.names(column, column) if n}
    named = [bool(known and name and name not in known) for name in lots.names(lot, bottles)]
    words = lots.may_be(lots.misspelled(lot, *columns))
    return np.array(named, dtype=bool) & np.isnan(volume_available), {"meant": (words, "")}


@check(
    "bottling",
    cell="measured_strength",
    level="note",
    says="Your alcoholmeter may be off by up to {uncertainty}, too much to tell whether the label is right "
    "to {tolerance}.",
    advice="Use one with finer divisions over a short range, or have a bottle measured.",
)
def alcoholmeter_too_coarse(
    measured_strength: Array, tolerance: Array, alcoholmeter: Instrument
) -> tuple[Mask, dict[str, Any]]:
    """Its uncertainty is larger than the tolerance; said once."""
    compared = np.isfinite(measured_strength) & np.isfinite(tolerance)
    coarse = compared & (alcoholmeter.uncertainty > law.LABEL_TOLERANCE) & (np.cumsum(compared) == 1)
    return coarse, {"uncertainty": (np.full(coarse.shape, alcoholmeter.uncertainty), "tolerance")}


@check(
    "bottling",
    cell="label_strength",
    level="warning",
    says="{label_strength} is below the usual legal minimum of {legal_minimum} for this product and place.",
    advice="Check your own local law before you sell it.",
)
def below_legal_minimum(label_strength: Array, legal_minimum: Array, label_slipped: Mask) -> Mask:
    """Too weak to be sold under that name, by a digit of the label or more.

    Less is only rounding: 40 % vol at 60 °F are 40.07 at 20 °C.
    """
    return (label_strength < legal_minimum - 0.075) & ~label_slipped


@check(
    "bottling",
    cell="bottled_at",
    level="error",
    says="{bottled_at} is before {step}, {ready}. {slip}",
    advice="Check both dates, and the lot; year first (2026-03-04) can't be misread.",
)
def before_it_was_ready(
    bottled_at: Array, runs_stopped: Array, runs_kind: Any, of_lot: list[Lot]
) -> tuple[Mask, dict[str, Any]]:
    """Before the end of the first run that gives spirit to bottle, or before its lot was filtered."""
    stopped = np.atleast_1d(runs_stopped)
    gives_spirit = (lots.names(runs_kind, stopped) != "stripping") & np.isfinite(stopped)
    first = np.fmin.reduce(stopped[gives_spirit] if gives_spirit.any() else stopped, initial=np.nan)
    filtered = np.array([lot.ready_at for lot in of_lot], dtype=float)
    ready = np.fmax(first, filtered)
    through_filter = "this lot was through the filter"
    steps = np.where(ready == filtered, through_filter, "the first run stopped").astype(object)
    early = _latest(bottled_at) < ready
    slip = np.full(len(bottled_at), "", dtype=object)
    for i in np.flatnonzero(early):
        for other, words in slips.other_dates(float(bottled_at[i])):
            if not slip[i] and ready[i] - 1 < other <= ready[i] + SOON:
                slip[i] = slips.would_fit(words, other)
    return early, {"step": (steps, ""), "ready": (ready, "bottled_at"), "slip": (slip, "")}


@check(
    "bottling",
    cell="bottled_at",
    level="note",
    says="{bottled_at} is more than a year after the spirit was ready, {ready}; a year earlier it would fit, "
    "too: {meant}.",
    advice="Check the year; if the spirit rested so long, such as in wood, it may stay.",
)
def bottled_a_year_later(
    bottled_at: Array, runs_stopped: Array, carbon_ended: Array
) -> tuple[Mask, dict[str, Any]]:
    """Soon after the last run or the filter, if it had been in the year before."""
    done = np.concatenate([np.atleast_1d(runs_stopped), np.atleast_1d(carbon_ended)])
    ready = np.full(len(bottled_at), np.fmax.reduce(done, initial=np.nan))
    meant = slips.in_another_year(bottled_at, -1)
    wrong = (_latest(meant) >= ready) & (meant - ready <= SOON)
    return wrong, {"ready": (ready, "bottled_at"), "meant": (meant, "bottled_at")}


def _latest(moments: Array) -> Array:
    """The latest that a moment can mean: a day without a time lasts until midnight."""
    return np.where(np.mod(moments, 1) == 0, moments + 1, moments)


@check(
    "bottling",
    cell="bottled_at",
    level="note",
    says="There is no batch code on the batch card, so there is no lot code for the label.",
    advice="Give the batch a short code there; bottles for sale usually need a lot code.",
)
def no_batch_code(batch_code: Any, bottles: Array, bottled_at: Array) -> Mask:
    """Said once, at the first filling."""
    filled = np.isfinite(bottles) & np.isfinite(bottled_at)
    missing = not isinstance(batch_code, str) or not re.match(r"\s*[\w./+-]", batch_code)
    return np.asarray(filled & (np.cumsum(filled) == 1) & missing)
