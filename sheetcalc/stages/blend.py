"""The blend sheet: several parts poured together, and the part that brings them to what is wanted."""

from typing import Any, NamedTuple

import numpy as np

from sheetcalc import law
from sheetcalc.liquids import Array, mixing, spirit
from sheetcalc.stages import groups, lots, samples, slips
from sheetcalc.stages.groups import Rows
from sheetcalc.stages.registry import check, column
from sheetcalc.stages.samples import FLAMMABLE
from sheetcalc.stages.slips import Mask

STRONGEST = 97.0  # % vol; no still gives more
WEAK, STRONG = 40.0, 70.0  # % vol; what is blended is rarely weaker or stronger, unless its unit is wrong
SAME = 0.005  # share by which two wants may differ and still be called the same: rounding
ROUNDING = 0.05  # % vol
BELOW_MINIMUM = (
    "It comes out at {blend_strength}, below the usual legal minimum of {legal_minimum} for this place."
)
BEFORE_BOTTLING = "Fine for a further run or for tasting; check your own local law before you bottle it."


class Wanted(NamedTuple):
    """What is wanted of each record's lot: strength % vol, volume L; the first that is typed on its lines."""

    strength: Array
    volume: Array


class Solved(NamedTuple):
    """What a blank has to be, record by record: volume L, strength % vol. `tried` tells the records of lots
    that have as many blanks as are wanted, so that they could be solved."""

    volume: Array
    strength: Array
    tried: Mask


@column("blend", across=True)
def first_row(lot: Any) -> Rows:
    """The row in which each record's lot begins; -1 without a lot."""
    return groups.first_rows(lot)


@column("blend")
def wanted(first_row: Rows, wanted_strength: Array, wanted_volume: Array) -> Wanted:
    """What is wanted of each record's lot."""
    return Wanted(groups.shared(first_row, wanted_strength), groups.shared(first_row, wanted_volume))


@column("blend")
def possible(first_row: Rows, strength: Array) -> Mask:
    """Which records' lots have no part above pure alcohol; with one, nothing can be solved."""
    above = np.where(strength > 100, strength, np.nan)
    return (first_row >= 0) & np.isnan(groups.shared(first_row, above))


@column("blend", across=True)
def rest(first_row: Rows, volume: Array, strength: Array) -> mixing.Blend:
    """The known parts of each record's lot together; of volume and strength 0 where there is none."""
    together = mixing.Blend(*np.zeros((3, len(first_row))))
    known = np.isfinite(volume) & np.isfinite(strength)
    for rows in groups.members(first_row):
        parts = rows[known[rows]]
        for values, value in zip(together, mixing.mix(volume[parts], strength[parts]), strict=True):
            values[rows] = np.nan_to_num(value)
    return together


@column("blend", across=True)
def solved(
    first_row: Rows, volume: Array, strength: Array, wanted: Wanted, rest: mixing.Blend, possible: Mask
) -> Solved:
    """The blanks of each lot by mass balance: one volume or strength, or two volumes.

    One blank is found from the wanted strength, a blank volume also from the wanted volume; two blank
    volumes need both.
    """
    found = Solved(_blank(first_row), _blank(first_row), np.zeros(len(first_row), dtype=bool))
    for rows in groups.members(first_row):
        volumes, strengths = rows[np.isnan(volume[rows])], rows[np.isnan(strength[rows])]
        lot = rows[0]
        known, to = (rest.volume[lot], rest.strength[lot]), (wanted.strength[lot], wanted.volume[lot])
        by_strength, by_volume = np.isfinite(to)
        if not possible[lot]:
            continue
        if len(strengths) == 1 and len(volumes) == 0 and by_strength:
            found.strength[strengths] = mixing.part_strength(*known, to[0], volume[strengths])
        elif len(strengths):
            continue
        elif len(volumes) == 1 and by_strength and known[0] > 0:
            found.volume[volumes] = mixing.part_for_strength(*known, to[0], strength[volumes])
        elif len(volumes) == 1 and by_volume and not by_strength:
            found.volume[volumes] = mixing.part_for_volume(*known, to[1], strength[volumes])
        elif len(volumes) == 2 and by_strength and by_volume:
            found.volume[volumes] = mixing.two_parts(*known, *to, *strength[volumes])
        else:
            continue
        found.tried[rows] = True
    return found


@column("blend")
def fits_as_proof(
    first_row: Rows,
    volume: Array,
    strength: Array,
    wanted: Wanted,
    rest: mixing.Blend,
    possible: Mask,
    wanted_strength_unit: str,
) -> Mask:
    """Which records' lots could be solved if the wanted strength was meant as proof."""
    meant = Wanted(spirit.strength_from_proof(wanted.strength), wanted.volume)
    found = solved(first_row, volume, strength, meant, rest, possible)
    return found.tried & ~_unsolved(first_row, found) & (wanted_strength_unit != "proof")


@column("blend", across=True)
def slipped_part(
    first_row: Rows,
    volume: Array,
    strength: Array,
    wanted: Wanted,
    solved: Solved,
    possible: Mask,
    blends: mixing.Blend,
    strength_unit: str,
) -> Mask:
    """Which parts' strengths keep their lot from what is wanted, and would not in the other unit.

    Of several in a lot it is the weakest where % vol was typed for proof, the strongest the other way round.
    """
    meant = _in_the_other_unit(strength, strength_unit)
    missed = _unsolved(first_row, solved) | (np.abs(blends.strength - wanted.strength) > law.LABEL_TOLERANCE)
    slipped = np.zeros(len(strength), dtype=bool)
    for rows in groups.members(first_row):
        # A usual spirit is not taken for another one only because something else is wanted of it.
        unusual = strength[rows] < WEAK if strength_unit == "proof" else strength[rows] > STRONG
        known = rows[unusual & (strength[rows] > 0) & (meant[rows] < STRONGEST)]
        if not (missed[rows[0]] and np.isfinite(wanted.strength[rows[0]])):
            continue
        for i in known[np.argsort(strength[known] if strength_unit == "proof" else -strength[known])]:
            other = np.where(np.arange(len(strength)) == i, meant, strength)
            if _comes_out(first_row, volume, other, wanted, possible)[i]:
                slipped[i] = True
                break
    return slipped


@column("blend")
def lot_strength(
    part: Any,
    strength: Array,
    strength_lot: Any,
    strength_final_strength: Array,
    strength_strength_after: Array,
    carbon_lot: Any,
    carbon_strength_in: Array,
    carbon_strength_out: Array,
) -> Array:
    """Of the strengths (% vol) that Strength or Carbon shows for the lot of each part, the nearest; NaN where
    there is none. Where two of them differ that is told there."""
    known = lots.told_of(
        (strength_lot, strength_final_strength),
        (strength_lot, strength_strength_after),
        (carbon_lot, carbon_strength_in),
        (carbon_lot, carbon_strength_out),
    )
    pairs = zip(lots.names(part, strength), strength, strict=True)
    return np.array([min(known.get(name, [np.nan]), key=lambda v: abs(v - at)) for name, at in pairs])


@column("blend")
def not_as_the_lot(strength: Array, lot_strength: Array, slipped_part: Mask, strength_doubt: float) -> Mask:
    """Which parts have another strength than their lot, by half a % vol more than readings: it is rounded."""
    allowed = strength_doubt * np.sqrt(2) + 0.5
    return np.asarray((np.abs(strength - lot_strength) > allowed) & ~slipped_part)


@column("blend")
def wrong_part(slipped_part: Mask, not_as_the_lot: Mask) -> Mask:
    """Which parts' strengths are told as wrong, so that nothing is told of what they come out at."""
    return slipped_part | not_as_the_lot


def _in_the_other_unit(strength: Array, unit: str) -> Array:
    """Strengths (% vol) as they would be in % vol where they are typed in proof, or the other way round."""
    if unit == "proof":
        return np.asarray(spirit.proof(strength))
    return spirit.strength_from_proof(strength) if unit == "% vol" else np.full(len(strength), np.nan)


def _comes_out(first_row: Rows, volume: Array, strength: Array, wanted: Wanted, possible: Mask) -> Mask:
    """Which records' lots become what is wanted with such strengths."""
    found = solved(first_row, volume, strength, wanted, rest(first_row, volume, strength), possible)
    blend = blends(first_row, poured(volume, found), strength, found)
    return np.abs(blend.strength - wanted.strength) <= law.LABEL_TOLERANCE


def _wrong_lot(first_row: Rows, wrong_part: Mask) -> Mask:
    """The records of lots that have a part whose strength is told as wrong."""
    return np.isfinite(groups.shared(first_row, np.where(wrong_part, 1.0, np.nan)))


@column("blend")
def solved_volume(solved: Solved) -> Array:
    """What a blank volume has to be, L."""
    return solved.volume


@column("blend")
def solved_strength(solved: Solved) -> Array:
    """What a blank strength has to be, % vol."""
    return solved.strength


@column("blend")
def poured(volume: Array, solved: Solved) -> Array:
    """Volume (L) of each part: as typed, or as solved."""
    return np.where(np.isnan(volume), solved.volume, volume)


@column("blend", across=True)
def blends(first_row: Rows, poured: Array, strength: Array, solved: Solved) -> mixing.Blend:
    """The blend of each record's lot; NaN while a part of it is unknown."""
    strengths = np.where(np.isnan(strength), solved.strength, strength)
    together = mixing.Blend(_blank(first_row), _blank(first_row), _blank(first_row))
    for rows in groups.members(first_row):
        for values, value in zip(together, mixing.mix(poured[rows], strengths[rows]), strict=True):
            values[rows] = value
    return together


@column("blend")
def share(poured: Array, blends: mixing.Blend) -> Array:
    """Share (0 to 1) of the part in the volumes poured together."""
    return poured / (blends.volume + blends.contraction)


@column("blend")
def blend_volume(first_row: Rows, blends: mixing.Blend) -> Array:
    """Volume of the blend, L at 20 °C; on the first line of each lot."""
    return groups.once(first_row, blends.volume)


@column("blend")
def blend_strength(first_row: Rows, blends: mixing.Blend) -> Array:
    """Strength of the blend, % vol; on the first line of each lot."""
    return groups.once(first_row, blends.strength)


@column("blend")
def contraction(first_row: Rows, blends: mixing.Blend) -> Array:
    """What vanishes in mixing, L; on the first line of each lot."""
    return groups.once(first_row, blends.contraction)


samples.above_azeotrope("blend", "strength", "strength", like="strength")


@check(
    "blend",
    cell="wanted_strength",
    level="error",
    says="{wanted_strength} can't be reached: the part left blank has {part}, the others together {others}. "
    "{meant}",
    advice="The wanted strength has to lie between the two; check the units.",
)
def out_of_reach(
    wanted_strength: Array,
    volume: Array,
    strength: Array,
    first_row: Rows,
    solved: Solved,
    rest: mixing.Blend,
    fits_as_proof: Mask,
    wrong_part: Mask,
) -> tuple[Mask, dict[str, Any]]:
    """Stronger than both, or weaker than both."""
    wrong = np.isfinite(wanted_strength) & (_blanks(first_row, volume) == 1) & _unsolved(first_row, solved)
    part = groups.shared(first_row, np.where(np.isnan(volume), strength, np.nan))
    shown = {"part": (part, "strength"), "others": (rest.strength, "strength")}
    wrong &= ~_wrong_lot(first_row, wrong_part)
    return wrong, shown | _as_proof(fits_as_proof)


@check(
    "blend",
    cell="wanted_strength",
    level="error",
    says="The other parts have {others}; no strength of the blank part brings the lot to {wanted_strength}. "
    "{meant}",
    advice="Take more of the blank part, or a wanted strength nearer to the others; check the units.",
)
def no_such_strength(
    wanted_strength: Array,
    strength: Array,
    first_row: Rows,
    solved: Solved,
    rest: mixing.Blend,
    fits_as_proof: Mask,
    wrong_part: Mask,
) -> tuple[Mask, dict[str, Any]]:
    """Neither water nor pure alcohol does it."""
    wrong = np.isfinite(wanted_strength) & (_blanks(first_row, strength) == 1) & _unsolved(first_row, solved)
    wrong &= ~_wrong_lot(first_row, wrong_part)
    return wrong, {"others": (rest.strength, "strength")} | _as_proof(fits_as_proof)


@check(
    "blend",
    cell="wanted_strength",
    level="error",
    says="No volumes of the two blank parts give {whole} of {wanted_strength}. {meant}",
    advice="Of the two, one has to be stronger and one weaker than what is still missing, and the other "
    "parts must leave room for both.",
)
def no_such_volumes(
    wanted_strength: Array,
    volume: Array,
    first_row: Rows,
    solved: Solved,
    wanted: Wanted,
    fits_as_proof: Mask,
    wrong_part: Mask,
) -> tuple[Mask, dict[str, Any]]:
    """Both stronger, both weaker, or the known parts are too much already."""
    wrong = np.isfinite(wanted_strength) & (_blanks(first_row, volume) == 2) & _unsolved(first_row, solved)
    wrong &= ~_wrong_lot(first_row, wrong_part)
    return wrong, {"whole": (wanted.volume, "wanted_volume")} | _as_proof(fits_as_proof)


@check(
    "blend",
    cell="strength",
    level="error",
    says="With {strength} here the lot can't be the wanted {wanted}; as {other} it would fit.",
    advice="Write {other} behind the number, or choose it as the unit if all is in {other}.",
)
def part_in_another_unit(
    slipped_part: Mask, wanted: Wanted, strength_unit: str
) -> tuple[Mask, dict[str, Any]]:
    """% vol in a column of proof, or the other way round."""
    other = np.array("% vol" if strength_unit == "proof" else "proof", dtype=object)
    return slipped_part, {"wanted": (wanted.strength, "wanted_strength"), "other": (other, "")}


@check(
    "blend",
    cell="strength",
    level="warning",
    says="{strength} does not fit the {known} that {sheets_strength_carbon} shows for this lot.",
    advice="Check the strength and its unit; if water was added since, give the mix a name of its own.",
)
def part_not_as_the_lot(
    lot_strength: Array, not_as_the_lot: Mask, strength_doubt: float
) -> tuple[Mask, dict[str, Any]]:
    """The lot that the part is named after has another strength."""
    fits = (lot_strength - strength_doubt, lot_strength + strength_doubt)
    return not_as_the_lot, {"known": (lot_strength, "strength"), "fits": fits}


@check(
    "blend",
    cell="wanted_volume",
    level="error",
    says="{wanted_volume} is less than the other parts give already, {others}.",
    advice="Check the units, or take less of the other parts.",
)
def less_than_the_parts(
    wanted_volume: Array, wanted: Wanted, first_row: Rows, solved: Solved, rest: mixing.Blend
) -> tuple[Mask, dict[str, Any]]:
    """No room for the part that is left blank."""
    wrong = np.isfinite(wanted_volume) & np.isnan(wanted.strength) & _unsolved(first_row, solved)
    return wrong, {"others": (rest.volume, "wanted_volume")}


@check(
    "blend",
    cell="wanted_strength",
    level="warning",
    says="The parts give {given}, not the wanted {wanted_strength}. {meant}",
    advice="Leave the volume of one part blank to have it computed.",
)
def strength_missed(
    wanted_strength: Array,
    wanted: Wanted,
    blends: mixing.Blend,
    first_row: Rows,
    wrong_part: Mask,
    wanted_strength_unit: str,
) -> tuple[Mask, dict[str, Any]]:
    """Off by more than a label may be (27 CFR 19.356)."""
    off = np.abs(blends.strength - wanted_strength) > law.LABEL_TOLERANCE
    meant = np.abs(blends.strength - spirit.strength_from_proof(wanted_strength)) <= law.LABEL_TOLERANCE
    meant &= wanted_strength_unit != "proof"
    wrong = off & ~_another(wanted_strength, wanted.strength) & ~_wrong_lot(first_row, wrong_part)
    return wrong, {"given": (blends.strength, "wanted_strength")} | _as_proof(meant)


@check(
    "blend",
    cell="wanted_volume",
    level="warning",
    says="The parts give {given}, not the wanted {wanted_volume}.",
    advice="Leave the volume of one part blank to have it computed; to meet a wanted strength, too, leave "
    "two blank.",
)
def volume_missed(wanted_volume: Array, wanted: Wanted, blends: mixing.Blend) -> tuple[Mask, dict[str, Any]]:
    """Off by more than half a percent."""
    wrong = _another(wanted_volume, blends.volume) & ~_another(wanted_volume, wanted.volume)
    return wrong, {"given": (blends.volume, "wanted_volume")}


@check(
    "blend",
    cell="wanted_strength",
    level="warning",
    says="Further up {used} is wanted for the same lot; that is used, not {wanted_strength}.",
    advice="Type what you want once for each lot.",
)
def two_wanted_strengths(wanted_strength: Array, wanted: Wanted) -> tuple[Mask, dict[str, Any]]:
    """Two lines of a lot want different strengths."""
    return _another(wanted_strength, wanted.strength), {"used": (wanted.strength, "wanted_strength")}


@check(
    "blend",
    cell="wanted_volume",
    level="warning",
    says="Further up {used} is wanted for the same lot; that is used, not {wanted_volume}.",
    advice="Type what you want once for each lot.",
)
def two_wanted_volumes(wanted_volume: Array, wanted: Wanted) -> tuple[Mask, dict[str, Any]]:
    """Two lines of a lot want different volumes."""
    return _another(wanted_volume, wanted.volume), {"used": (wanted.volume, "wanted_volume")}


@check(
    "blend",
    cell="volume",
    level="note",
    says="The volume is blank, and the lot has neither a wanted strength nor a wanted volume.",
    advice="Type the volume, or what you want of the lot to have the volume computed.",
)
def nothing_wanted(volume: Array, wanted: Wanted, first_row: Rows) -> Mask:
    """A blank without anything to find it from."""
    nothing = np.isnan(wanted.strength) & np.isnan(wanted.volume)
    return np.isnan(volume) & nothing & (first_row >= 0)


@check(
    "blend",
    cell="volume",
    level="note",
    says="More is left blank in this lot than can be computed from what is wanted.",
    advice="For one blank type a wanted strength (for a blank volume, a wanted volume does, too); for two "
    "blank volumes type both.",
)
def too_many_blanks(volume: Array, wanted: Wanted, possible: Mask, solved: Solved) -> Mask:
    """More unknowns than balances."""
    something = np.isfinite(wanted.strength) | np.isfinite(wanted.volume)
    return np.isnan(volume) & something & ~solved.tried & possible


@check(
    "blend",
    cell="strength",
    level="note",
    says="The strength is blank and can't be computed.",
    advice="Type it, 0 for water; or type a wanted strength and leave nothing else of the lot blank.",
)
def strength_unknown(strength: Array, possible: Mask, solved: Solved) -> Mask:
    """A blank strength without a wanted one, or with other blanks beside it."""
    return np.isnan(strength) & ~solved.tried & possible


@check(
    "blend",
    cell="lot",
    level="note",
    says="The lot {lot} has one part only.",
    advice="Write the same lot on every line of a blend, spelled the same.",
)
def one_part_only(first_row: Rows) -> Mask:
    """Nothing to blend: the next part is not typed yet, or its lot is spelled otherwise."""
    parts = np.bincount(first_row + 1, minlength=1)
    return np.asarray((first_row >= 0) & (parts[first_row + 1] == 1))


@check(
    "blend",
    cell="part",
    level="note",
    says="There is no lot {part} on {sheets_strength_carbon}, so how much there was is not known. {near}",
    advice="If so, spell it as there.",
)
def misspelled_part(part: Any, strength_lot: Any, carbon_lot: Any, lot: Any) -> tuple[Mask, dict[str, Any]]:
    """A name almost like one that is there."""
    near = lots.misspelled(part, strength_lot, carbon_lot, lot)
    return near != "", {"near": (lots.may_be(near), "")}


@column("blend")
def there_was(
    part: Any,
    strength_lot: Any,
    strength_volume: Array,
    strength_final_volume: Array,
    carbon_lot: Any,
    carbon_volume_in: Array,
    carbon_volume_out: Array,
    bottling_lot: Any,
    bottling_volume: Array,
) -> Array:
    """The most (L) that Strength, Carbon or the bottles tell of the lot each part is named after; NaN of any
    other."""
    known = lots.told_of(
        (strength_lot, strength_volume),
        (strength_lot, strength_final_volume),
        (carbon_lot, carbon_volume_in),
        (carbon_lot, carbon_volume_out),
        (bottling_lot, bottling_volume),
    )
    return np.array([max(known.get(name, [np.nan])) for name in lots.names(part, part)])


@check(
    "blend",
    cell="volume",
    level="warning",
    says="{volume} is poured in, but of this lot there was only {there_was}.",
    advice="Check the volume and its unit.",
)
def more_than_the_lot(volume: Array, there_was: Array) -> tuple[Mask, dict[str, Any]]:
    """By more than two volumes may be off; what is a thousand times too much is told as that."""
    wrong = (volume > there_was * (1 + slips.SURE * lots.SAME_VOLUME)) & (volume < there_was * 100)
    return wrong, {"there_was": (there_was, "volume"), "fits": (0.1 * there_was, there_was)}


@check(
    "blend",
    cell="volume",
    level="warning",
    says="This part holds {alcohol} of pure alcohol; the runs together gave {collected}.",
    advice="Check the volume and its unit.",
)
def millilitres_for_litres(
    volume: Array, strength: Array, runs_collected_alcohol: Array
) -> tuple[Mask, dict[str, Any]]:
    """Far more than ever came out of the still (spirit that was bought in may well be more), while a
    thousandth of it could have."""
    alcohol, collected = volume * strength / 100, np.nansum(runs_collected_alcohol)
    wrong = (alcohol > collected * 20) & (alcohol / 1000 <= collected)
    fits = (np.zeros(len(volume)), volume * collected / np.maximum(alcohol, collected))
    more = {"alcohol": (alcohol, "volume"), "collected": (np.full(len(alcohol), collected), "volume")}
    return wrong, more | {"fits": fits}


@check(
    "blend",
    cell="blend_strength",
    level="warning",
    says=BELOW_MINIMUM,
    advice=BEFORE_BOTTLING,
)
def below_legal_minimum(
    blend_strength: Array, legal_minimum: Array, wanted: Wanted, first_row: Rows, wrong_part: Mask
) -> Mask:
    """Too weak to be sold under the usual name, by more than rounding, and wanted so."""
    weak = np.isfinite(wanted.strength) & (blend_strength < legal_minimum - ROUNDING)
    return weak & ~_wrong_lot(first_row, wrong_part)


@check("blend", cell="blend_strength", level="note", says=BELOW_MINIMUM, advice=BEFORE_BOTTLING)
def came_out_below_minimum(blend_strength: Array, legal_minimum: Array, wanted: Wanted) -> Mask:
    """It came out so; nobody says yet that it is to be sold."""
    return np.isnan(wanted.strength) & (blend_strength < legal_minimum - ROUNDING)


@check(
    "blend",
    cell="strength",
    level="note",
    says="Spirit of {strength} can catch fire at room temperature.",
    advice="Stop if any flame or spark is near. Let fresh air in, and pour the weaker into the stronger "
    "slowly, stirring.",
    danger=True,
)
def catches_fire(
    strength: Array,
    first_row: Rows,
    blends: mixing.Blend,
    lot: Any,
    bottling_lot: Any,
    bottling_bottles: Array,
) -> Mask:
    """Flash point at or below a warm room's temperature; said once a lot, of its strongest part.

    Not of a lot that is in bottles and no longer so strong: its parts are poured. What was left of a part has
    a line of its own where it came from.
    """
    strongest = np.zeros(len(first_row), dtype=bool)
    for rows in groups.members(first_row):
        strongest[rows[np.argmax(np.nan_to_num(strength[rows]))]] = True
    filled = np.isfinite(np.atleast_1d(bottling_bottles))
    in_bottles = np.isin(lots.names(lot, strength), lots.names(bottling_lot, filled)[filled])
    poured = in_bottles & (blends.strength <= FLAMMABLE)
    return strongest & (strength > FLAMMABLE) & (strength <= 100) & ~poured


def _blank(first_row: Rows) -> Array:
    return np.full(len(first_row), np.nan)


def _unsolved(first_row: Rows, solved: Solved) -> Mask:
    """Which records' lots were tried, but nothing does what is wanted."""
    found = np.fmax(solved.volume, solved.strength)
    return solved.tried & np.isnan(groups.shared(first_row, found))


def _blanks(first_row: Rows, values: Array) -> Array:
    """How many values of each record's lot are blank."""
    count = np.zeros(len(first_row))
    for rows in groups.members(first_row):
        count[rows] = np.isnan(values[rows]).sum()
    return count


def _another(value: Array, than: Array) -> Mask:
    """Which values differ from others by more than rounding."""
    return np.asarray(np.abs(value - than) > SAME * than)


def _as_proof(meant: Mask) -> dict[str, Any]:
    """What to add to a sentence where a wanted strength would fit as proof."""
    return {"meant": (np.where(meant, "As proof it would fit.", "").astype(object), "")}
