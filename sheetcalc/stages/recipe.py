"""The recipe sheet: what goes into the fermenter, and the gravity, volume and strength it should give.

A line is weighed, or measured where it is liquid. What the person does not know of it comes from its kind:
the figures below are handbook figures from memory and common practice; they differ from one lot to the next,
and `doubt` says how far. Grain and fruit that stay in the fermenter take room, but no part in the gravity.
"""

from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np

from sheetcalc.instruments import Instrument
from sheetcalc.liquids import Array, must, spirit
from sheetcalc.liquids.must import Must
from sheetcalc.stages import samples, slips
from sheetcalc.stages.registry import check, column
from sheetcalc.stages.slips import Mask

HEXOSE, SUCROSE = 1.0, must.HEXOSE_PER_SUCROSE


class Kind(NamedTuple):
    """What is usual in a kind of item.

    solids: what dissolves, and fermentable, as shares of its weight (of grain and malt: the extract of a
    laboratory mash); moisture: of grain and malt; pulp: what never dissolves, of the others; hexose: what a
    kg of its sugar becomes when it takes up water; doubt: how far the solids may differ, as a share of them
    (k = 2); most: more of it is never fermentable; wash: the kinds of wash on the batch card it makes.
    """

    solids: float
    fermentable: float
    moisture: float
    pulp: float
    hexose: float
    doubt: float
    most: float
    wash: tuple[str, ...]


# Handbook figures from memory. Dextrose is the monohydrate (180.16 / 198.17). Molasses is blackstrap. A mash
# keeps dextrins: 70 % of the extract of grain and malt ferments, as on the fermentation sheet.
KINDS = {
    "sugar": Kind(1.00, 1.00, 0.0, 0.0, SUCROSE, 0.005, 1.00, ("sugar",)),
    "dextrose": Kind(0.909, 0.909, 0.0, 0.0, HEXOSE, 0.01, 1.00, ("sugar",)),
    "honey": Kind(0.82, 0.78, 0.0, 0.0, HEXOSE, 0.04, 0.86, ("sugar",)),
    "syrup": Kind(0.80, 0.78, 0.0, 0.0, HEXOSE, 0.08, 0.88, ("sugar",)),
    "molasses": Kind(0.80, 0.50, 0.0, 0.0, 1.035, 0.08, 0.72, ("molasses",)),
    "fruit": Kind(0.13, 0.115, 0.0, 0.04, HEXOSE, 0.40, 0.80, ("fruit", "wine")),
    "juice": Kind(0.115, 0.105, 0.0, 0.0, HEXOSE, 0.25, 0.75, ("fruit", "wine")),
    "grain": Kind(0.70, 0.49, 0.10, 0.0, SUCROSE, 0.10, 0.80, ("grain",)),
    "malt": Kind(0.78, 0.55, 0.05, 0.0, SUCROSE, 0.05, 0.80, ("grain",)),
    "wine": Kind(0.022, 0.0, 0.0, 0.0, HEXOSE, 0.50, 0.30, ("wine", "fruit")),
    "beer": Kind(0.045, 0.0, 0.0, 0.0, SUCROSE, 0.50, 0.20, ("grain",)),
    "additive": Kind(0.50, 0.0, 0.0, 0.0, HEXOSE, 1.00, 0.05, ()),  # nutrient, acid, enzyme
}
OTHER = Kind(np.nan, np.nan, 0.0, 0.0, HEXOSE, 0.10, 1.00, ())

MASHED = ("grain", "malt")
SOLID = ("sugar", "dextrose", "fruit", "grain", "malt")
DRINKS = {"wine": 22.0, "beer": 15.0}  # % vol; stronger ones are fortified or distilled (common practice)

# Share of the laboratory extract that a mash gets into the wash, and how far it may differ (common practice).
EFFICIENCY, EFFICIENCY_DOUBT = 0.75, 0.15
LEAST_EFFICIENCY = 0.3  # below it a mash was not converted, or a share of one was typed for percent
STATED = 0.03  # share; a figure from a label, a refractometer or an earlier mash is good to that
HELD_BY_GRAIN = 1.0  # kg of water a kg of strained grain holds back (common practice)
HELD_BY_FRUIT = 0.15  # kg of must a kg of pressed fruit holds back (common practice)
PULP_DENSITY = 1.5  # kg/L of starch, husk and fibre (from memory)
PULP_DOUBT = 0.3  # share (k = 2) of the room that pulp takes, or of what it holds back (common practice)

# Shares (k = 2): water by the marks of a bucket, and what a kitchen scale shows (common practice).
VOLUME_DOUBT, WEIGHT_DOUBT = 0.03, 0.01
PACKET = 0.5  # % vol; so far is a packet's figure rounded
HIGHEST_GRAVITY = 1.130  # the sweetest wash a packet of yeast is sold for stays below it (common practice)


class Parts(NamedTuple):
    """What each item brings, kg an item; `pulp` stays undissolved, `held` is held back when it is strained:
    water by grain, must by fruit."""

    contents: Must
    pulp: Array
    held_water: Array
    held_must: Array


class Usual(NamedTuple):
    """What is usual in each item, as in `Kind`: arrays over the items."""

    solids: Array
    fermentable: Array
    moisture: Array
    pulp: Array
    hexose: Array
    doubt: Array
    most: Array


@column("recipe")
def of_kind(kind: Any) -> Any:
    """The kind of each item as text, '' where blank."""
    return np.array([k if isinstance(k, str) else "" for k in np.atleast_1d(kind)], dtype=object)


@column("recipe")
def usual(of_kind: Any) -> Usual:
    """What is usual in each item, by its kind."""
    kinds = [KINDS.get(kind, OTHER) for kind in of_kind]
    return Usual(*(np.array([kind[i] for kind in kinds], dtype=float) for i in range(len(Usual._fields))))


@column("recipe")
def dissolving(solids: Array, fermentable: Array, strength: Array, usual: Usual, of_kind: Any) -> Array:
    """Share of each item's weight that dissolves: typed, or the usual with as much more sugar as was typed.

    A mash's extract does not change with what ferments of it. A spirit of no kind of ours holds none.
    """
    more = np.where(np.isin(of_kind, MASHED), 0.0, fermentable - usual.fermentable)
    unknown = np.where(np.isnan(fermentable) & np.isfinite(strength), 0.0, fermentable)
    by_sugar = np.where(np.isnan(usual.solids), unknown, usual.solids + np.nan_to_num(more))
    return np.minimum(np.where(np.isnan(solids), by_sugar, solids), 1.0)


@column("recipe")
def fermenting(solids: Array, fermentable: Array, dissolving: Array, usual: Usual) -> Array:
    """Share of each item's weight that ferments: typed, or the usual share of what dissolves."""
    share = np.where(np.isnan(solids), 1.0, solids / usual.solids)
    of_solids = np.where(np.isnan(usual.solids), dissolving, usual.fermentable * share)
    return np.where(np.isnan(fermentable), of_solids, fermentable)


@column("recipe")
def weight(amount: Array, liquid_volume: Array, dissolving: Array, strength: Array, of_kind: Any) -> Array:
    """Mass (kg) of each item: as weighed, or from its volume where it is liquid."""
    measured = liquid_volume * must.density_of_part(dissolving, strength) / 1000
    return np.where(np.isnan(amount), np.where(np.isin(of_kind, SOLID), np.nan, measured), amount)


@column("recipe")
def parts(
    weight: Array,
    dissolving: Array,
    fermenting: Array,
    strength: Array,
    efficiency: Array,
    usual: Usual,
    of_kind: Any,
) -> Parts:
    """What each item brings into the fermenter."""
    mashed = np.isin(of_kind, MASHED)
    gained = np.where(mashed, np.where(np.isnan(efficiency), EFFICIENCY, efficiency), 1.0)
    extract, sugar = weight * dissolving * gained, weight * fermenting * gained
    litres = 1000 * weight / must.density_of_part(dissolving, strength)
    alcohol = np.nan_to_num(litres * strength / 100 * spirit.ETHANOL_DENSITY / 1000)
    pulp = np.where(mashed, weight * (1 - usual.moisture) - extract, weight * usual.pulp)
    water = np.maximum(weight - extract - pulp - alcohol, 0.0)
    held_water = np.where(mashed, HELD_BY_GRAIN * weight, 0.0)
    held_must = np.where(np.asarray(of_kind) == "fruit", HELD_BY_FRUIT * weight, 0.0)
    return Parts(Must(water, extract, sugar, usual.hexose * sugar, alcohol), pulp, held_water, held_must)


class Made(NamedTuple):
    """The must that a recipe makes, the room (L) that pulp takes up in it, the water (kg) poured in."""

    contents: Must
    pulp_room: Array
    poured: Array


@column("recipe")
def made(parts: Parts, water_volume: Array, wash_volume: Array, grain_and_pulp: Any) -> Made:
    """The whole must. A blank for the water means: filled up to the wash volume."""
    return _made(parts, water_volume, wash_volume, str(grain_and_pulp))


def _made(parts: Parts, water_volume: Array, wash_volume: Array, grain_and_pulp: str) -> Made:
    total = Must(*(np.asarray(np.nansum(part)) for part in parts.contents))
    strained = grain_and_pulp == "strained off"
    held_water = np.nansum(parts.held_water) if strained else 0.0
    held_must = np.nansum(parts.held_must) if strained else 0.0
    room = np.asarray(0.0 if strained else np.nansum(parts.pulp) / PULP_DENSITY)
    poured = water_volume * spirit.WATER_DENSITY / 1000
    if np.isnan(water_volume):
        poured = _to_fill(total, wash_volume - room, held_must) - total.water + held_water
        # Without a wash volume, or in one that is full already, none is poured.
        poured = np.maximum(np.nan_to_num(poured), 0.0)
    whole = total._replace(water=np.maximum(total.water + poured - held_water, 0.0))
    with np.errstate(invalid="ignore"):
        kept = np.where(held_must > 0, np.maximum(1 - held_must / must.mass(whole), 0.0), 1.0)
    return Made(Must(*(part * kept for part in whole)), room, poured)


def _to_fill(total: Must, volume: Array, held_must: float) -> Array:
    """All the water (kg) in a must of that volume (L), some of which (kg) is pressed away with the pulp."""
    water, density = total.water, np.asarray(1.0)
    for _ in range(3):
        filled = volume + held_must / density
        water = must.water_for_volume(total.extract, total.alcohol, filled)
        density = must.mass(total._replace(water=water)) / filled
    return water


@column("recipe")
def contents(made: Made) -> Must:
    """The must as it goes to the yeast."""
    return made.contents


@column("recipe")
def sugar(parts: Parts) -> Array:
    """Fermentable sugar (kg) of each item."""
    return parts.contents.fermentable


@column("recipe", across=True)
def gravity_share(parts: Parts) -> Array:
    """Share (0 to 1) of each item in all that is dissolved, which is what raises the gravity."""
    total = np.nansum(parts.contents.extract)
    return parts.contents.extract / total if total > 0 else np.full(len(parts.pulp), np.nan)


@column("recipe")
def cost(weight: Array, amount: Array, liquid_volume: Array, price: Array, liquid_price: Array) -> Array:
    """Cost of each item: by its weight, or else by its volume."""
    by_weight = np.where(np.isnan(amount), weight, amount) * price
    return np.where(np.isnan(by_weight), liquid_volume * liquid_price, by_weight)


@column("recipe")
def anything(contents: Must) -> Mask:
    """Whether anything but water goes in."""
    return np.asarray(contents.extract + contents.alcohol > 0)


@column("recipe")
def expected_gravity(contents: Must, anything: Mask) -> Array:
    """Gravity (SG 20/20) before the yeast, with the alcohol that is in it already."""
    return np.where(anything, must.gravity(contents), np.nan)


@column("recipe")
def expected_volume(contents: Must, made: Made, anything: Mask) -> Array:
    """Volume (L at 20 °C) in the fermenter, with the pulp that stays in it."""
    return np.where(anything, must.volume(contents) + made.pulp_room, np.nan)


@column("recipe")
def potential_alcohol(contents: Must, expected_gravity: Array) -> Array:
    """Strength (% vol) when all that can ferment is gone: Balling's yield, as on the other sheets."""
    return np.where(np.isnan(expected_gravity), np.nan, must.fermented(contents, must.BALLING).strength)


@column("recipe")
def practical_alcohol(contents: Must, expected_gravity: Array) -> Array:
    """The same with Pasteur's yield, 0.48 of hexose."""
    return np.where(np.isnan(expected_gravity), np.nan, must.fermented(contents, must.PASTEUR).strength)


@column("recipe")
def stoichiometric_alcohol(contents: Must, parts: Parts, of_kind: Any, expected_gravity: Array) -> Array:
    """The same if all of the sugar became alcohol and gas: the most that chemistry allows.

    Of a mash that is all of its extract, as enzymes that were not boiled go on making sugar of its dextrins.
    """
    mashed = np.isin(of_kind, MASHED)
    items = parts.contents
    dextrins = np.nansum(np.where(mashed, items.extract - items.fermentable, 0.0))
    as_sugar = contents._replace(
        fermentable=contents.fermentable + dextrins, hexose=contents.hexose + SUCROSE * dextrins
    )
    most = must.fermented(as_sugar, must.STOICHIOMETRIC).strength
    return np.where(np.isnan(expected_gravity), np.nan, most)


@column("recipe")
def wanted(wanted_strength: Array, yeast_tolerance: Array) -> Array:
    """The strength (% vol) the wash is to reach: as wanted, or else what the yeast stands."""
    return np.where(np.isnan(wanted_strength), yeast_tolerance, wanted_strength)


@column("recipe")
def sugar_for_target(
    contents: Must, made: Made, wanted: Array, water_volume: Array, wash_volume: Array, anything: Mask
) -> Array:
    """White sugar (kg) still to add for that strength; 0 where there is enough.

    Where the water is blank the wash volume stays as it is, and water gives way.
    """
    planned = bool(anything) or np.isfinite(water_volume)
    if not (planned and np.isfinite(wanted)):
        return np.asarray(np.nan)
    kept = np.where(np.isnan(water_volume), wash_volume - made.pulp_room, np.nan)
    return np.asarray(np.maximum(must.sugar_for_strength(contents, wanted, kept), 0.0))


@column("recipe")
def water_more(contents: Must, made: Made, wash_volume: Array, water_volume: Array, anything: Mask) -> Array:
    """Water (L at 20 °C) to add to what is there up to the wash volume; 0 where it is full."""
    full = must.water_for_volume(contents.extract, contents.alcohol, wash_volume - made.pulp_room)
    more = np.where(np.isnan(water_volume), made.poured, np.maximum(full - contents.water, 0.0))
    return np.where(anything, more * 1000 / spirit.WATER_DENSITY, np.nan)


@column("recipe")
def gravity_doubt(
    parts: Parts,
    usual: Usual,
    solids: Array,
    fermentable: Array,
    efficiency: Array,
    of_kind: Any,
    gravity_in_wash: Array,
) -> Array:
    """How far (SG, k = 2) the gravity in the wash's volume may be off: water, weights, contents."""
    mashed = np.isin(of_kind, MASHED)
    told = np.isfinite(solids) | (np.isfinite(fermentable) & ~mashed)
    doubt = np.where(told, np.fmin(STATED, usual.doubt), usual.doubt)
    mash = np.where(mashed, np.where(np.isnan(efficiency), EFFICIENCY_DOUBT, STATED), 0.0)
    each = parts.contents.extract * np.sqrt(doubt**2 + mash**2 + WEIGHT_DOUBT**2)
    total = np.nansum(parts.contents.extract)
    items = np.sqrt(np.nansum(each**2)) / total if total > 0 else np.nan
    return np.asarray(np.abs(gravity_in_wash - 1) * np.hypot(items, VOLUME_DOUBT))


@column("recipe")
def gravity_in_wash(parts: Parts, wash_volume: Array, grain_and_pulp: Any, expected_gravity: Array) -> Array:
    """Gravity (SG 20/20) if the water were what the wash volume asks for; the expected one without that."""
    filled = _made(parts, np.asarray(np.nan), wash_volume, str(grain_and_pulp)).contents
    return np.where(np.isnan(wash_volume), expected_gravity, must.gravity(filled))


@column("recipe")
def volume_off(expected_volume: Array, wash_volume: Array, parts: Parts, grain_and_pulp: Any) -> Mask:
    """Whether the volumes differ by more than the measuring of both, and of the pulp, can be off."""
    room = np.nansum(parts.pulp) / PULP_DENSITY
    if str(grain_and_pulp) == "strained off":
        room = np.nansum(parts.held_water) + np.nansum(parts.held_must)
    allowed = np.hypot(np.sqrt(2) * VOLUME_DOUBT * wash_volume, PULP_DOUBT * room)
    return np.asarray(np.abs(expected_volume - wash_volume) > allowed)


@column("recipe")
def gravity_off(
    gravity_in_wash: Array,
    expected_gravity: Array,
    original_gravity: Array,
    gravity_doubt: Array,
    hydrometer: Instrument,
    contents: Must,
) -> Mask:
    """Whether the gravities differ by more than they can be off, in the wash volume and in the recipe's.

    Where it fits the recipe as it stands, the wash volume is what may be wrong. Where alcohol goes in, no
    original gravity can be measured.
    """
    possible = (original_gravity > 1.0) & (original_gravity <= 1.3) & ~(contents.alcohol > 0)
    allowed = slips.SURE * np.hypot(gravity_doubt, hydrometer.uncertainty)
    off = np.fmin(np.abs(gravity_in_wash - original_gravity), np.abs(expected_gravity - original_gravity))
    return np.asarray(possible & (off > allowed))


@column("recipe")
def too_heavy(amount: Array, wash_volume: Array, water_volume: Array) -> Mask:
    """Which items weigh more than the whole wash; none weighs 1.3 kg a litre."""
    return np.asarray(amount > 1.3 * _size(wash_volume, water_volume))


@column("recipe")
def too_large(liquid_volume: Array, wash_volume: Array, water_volume: Array) -> Mask:
    """Which items are more than the fermenter got, by more than two measures are off."""
    return np.asarray(liquid_volume > (1 + 2 * VOLUME_DOUBT) * _size(wash_volume, water_volume))


def _size(wash_volume: Array, water_volume: Array) -> float:
    """About what the wash takes up (L): as the batch card says, or else twice the water."""
    return float(np.where(np.isnan(wash_volume), 2 * water_volume, wash_volume))


@column("recipe")
def too_poor(fermentable: Array, usual: Usual) -> Mask:
    """Which items of a sweet kind were typed with next to no sugar: a share of one taken for percent."""
    return np.asarray((usual.fermentable > 0.05) & (fermentable <= 0.0101))


@column("recipe")
def settled(
    too_heavy: Mask,
    too_large: Mask,
    too_poor: Mask,
    fermentable: Array,
    dissolving: Array,
    efficiency: Array,
    weight: Array,
) -> bool:
    """Whether every line can be counted; else it is told there, and not again of the whole."""
    beyond = (fermentable > dissolving + 0.005) | (efficiency < LEAST_EFFICIENCY) | (efficiency > 1)
    unknown = np.isnan(weight) | np.isnan(dissolving)
    return not (too_heavy | too_large | too_poor | beyond | unknown).any()


@column("recipe")
def outgrown(potential_alcohol: Array, contents: Must, yeast_tolerance: Array) -> Mask:
    """Whether there is more sugar than the yeast can take; a drink that no longer works is not asked."""
    works = contents.fermentable > 0.01 * contents.water
    return np.asarray(works & (potential_alcohol > yeast_tolerance + PACKET))


@column("recipe")
def off_plan(settled: bool, volume_off: Mask, gravity_off: Mask) -> bool:
    """Whether the recipe is not what went in, as is told elsewhere."""
    return bool(not settled or volume_off or gravity_off)


@check(
    "recipe",
    cell="amount",
    level="error",
    says="{amount} is more than the whole wash weighs. {meant}",
    advice="Check the unit above, and the wash volume on the batch card.",
)
def heavier_than_the_wash(amount: Array, too_heavy: Mask) -> tuple[Mask, dict[str, Any]]:
    """Grams in a column of kilograms, mostly."""
    meant = np.where(amount > 500, "It looks like grams.", "").astype(object)
    return too_heavy, {"meant": (meant, "amount")}


@check(
    "recipe",
    cell="liquid_volume",
    level="error",
    says="{liquid_volume} is more than the whole wash. {meant}",
    advice="Check the unit above, and the wash volume on the batch card.",
)
def larger_than_the_wash(
    liquid_volume: Array, too_large: Mask, wash_volume: Array, water_volume: Array
) -> tuple[Mask, dict[str, Any]]:
    """Millilitres in a column of litres, mostly."""
    tiny = liquid_volume > 5 * _size(wash_volume, water_volume)
    meant = np.where(tiny, "It looks like millilitres.", "").astype(object)
    return too_large, {"meant": (meant, "liquid_volume")}


@check(
    "recipe",
    cell="liquid_volume",
    level="warning",
    says="{amount} of it would take up {room}, not {liquid_volume}; the weight was used.",
    advice="Leave one of the two blank.",
)
def weight_and_volume(
    amount: Array, liquid_volume: Array, dissolving: Array, strength: Array
) -> tuple[Mask, dict[str, Any]]:
    """Both are filled in and do not agree, by more than scale, measure and density are off."""
    room = 1000 * amount / must.density_of_part(dissolving, strength)
    return np.abs(room - liquid_volume) > 0.06 * liquid_volume, {"room": (room, "liquid_volume")}


@check(
    "recipe",
    cell="liquid_volume",
    level="warning",
    says="A volume does not tell how much {kind} there is; the line is left out.",
    advice="Weigh it.",
)
def solid_by_volume(of_kind: Any, amount: Array, liquid_volume: Array) -> Mask:
    """Loose goods hold more air one day than the next."""
    return np.asarray(np.isin(of_kind, SOLID) & np.isfinite(liquid_volume) & np.isnan(amount))


@check(
    "recipe",
    cell="amount",
    level="note",
    says="Neither a weight nor a volume is filled in; the line is left out.",
    advice="Weigh it, or measure it where it is liquid.",
)
def amount_missing(amount: Array, liquid_volume: Array, of_kind: Any) -> Mask:
    """Half a line."""
    return np.asarray(np.isnan(amount) & np.isnan(liquid_volume) & (np.asarray(of_kind) != ""))


@check(
    "recipe",
    cell="fermentable",
    level="note",
    says="How much sugar is in it is not known, so the line is left out.",
    advice="Choose its kind, or type the fermentable share from its label.",
)
def share_unknown(amount: Array, liquid_volume: Array, fermenting: Array, strength: Array) -> Mask:
    """Neither a kind nor a share."""
    there = np.isfinite(amount) | np.isfinite(liquid_volume)
    return there & np.isnan(fermenting) & np.isnan(strength)


@check(
    "recipe",
    cell="fermentable",
    level="error",
    says="{fermentable} can't ferment when only {most} of it dissolves.",
    advice="Check both shares; each is counted on the weight of the item as it is.",
)
def more_than_dissolves(fermentable: Array, dissolving: Array) -> tuple[Mask, dict[str, Any]]:
    """Only what dissolves ferments; half a percent is rounding."""
    return fermentable > dissolving + 0.005, {"most": (dissolving, "fermentable")}


@check(
    "recipe",
    cell="fermentable",
    level="warning",
    says="{fermentable} is more sugar than {kind} usually holds ({most} at most).",
    advice="Check the share and the kind; for a dry mix or a concentrate take the share from its label.",
)
def sweeter_than_its_kind(
    fermentable: Array, of_kind: Any, usual: Usual, dissolving: Array
) -> tuple[Mask, dict[str, Any]]:
    """Above the sweetest of its kind (handbook figures, from memory)."""
    most = usual.most
    wrong = (fermentable > most + 0.005) & ~(fermentable > dissolving + 0.005)
    return wrong, {"most": (most, "fermentable"), "kind": (of_kind, "kind")}


@check(
    "recipe",
    cell="fermentable",
    level="warning",
    says="{fermentable} is almost no sugar for {kind}. {meant}",
    advice="Type it in percent: 80, not 0.8.",
)
def share_for_percent(fermentable: Array, too_poor: Mask, of_kind: Any) -> tuple[Mask, dict[str, Any]]:
    """No item of a sweet kind is so poor."""
    typed = fermentable * 100
    meant = [f"As a share of one it would be {100 * t:.0f} %." if 0 < t <= 1 else "" for t in typed]
    return too_poor, {"meant": (np.array(meant, dtype=object), "kind"), "kind": (of_kind, "kind")}


@check(
    "recipe",
    cell="strength",
    level="note",
    says="Without its strength the alcohol in this {kind} is not counted.",
    advice="Type it from the label, or boil a sample off (Boiling) and take the strength from there.",
)
def strength_missing(of_kind: Any, strength: Array) -> Mask:
    """A drink that brings alcohol along."""
    return np.isin(of_kind, list(DRINKS)) & np.isnan(strength)


@check(
    "recipe",
    cell="strength",
    level="warning",
    says="{strength} is more than {kind} usually ferments to. {meant}",
    advice="Check the unit above; for a fortified drink or a spirit choose 'other'.",
)
def stronger_than_its_kind(strength: Array, of_kind: Any) -> tuple[Mask, dict[str, Any]]:
    """Above what yeast makes of grapes or malt; twice as much is proof."""
    most = np.array([DRINKS.get(str(k), np.nan) for k in np.asarray(of_kind)])
    meant = np.where(strength / 2 <= most, "As proof it would fit.", "").astype(object)
    return strength > most, {"meant": (meant, "kind"), "kind": (of_kind, "kind")}


@check(
    "recipe",
    cell="kind",
    level="warning",
    says="Most of the alcohol comes from {kind}, and nothing here makes a {wash} wash (batch card).",
    advice="Check the kinds here and the kind of wash there: the end of the fermentation and the legal "
    "minimum follow from it.",
)
def another_kind_of_wash(parts: Parts, of_kind: Any, wash_kind: Any) -> tuple[Mask, dict[str, Any]]:
    """None of the items belongs to the kind of wash on the batch card; said once, at the weightiest."""
    named = str(wash_kind) if isinstance(wash_kind, str | np.str_) or wash_kind.dtype == object else ""
    brings = np.nan_to_num(parts.contents.fermentable / 2 + parts.contents.alcohol)
    wrong = np.zeros(len(brings), dtype=bool)
    belongs = [named in KINDS.get(kind, OTHER).wash for kind in of_kind]
    unknown = [name in ("", "other") for name in of_kind]
    if named and brings.sum() > 0 and not any(belongs) and not any(unknown):
        wrong[int(np.argmax(brings))] = True
    return wrong, {"kind": (of_kind, "kind"), "wash": (np.full(len(brings), named, dtype=object), "kind")}


@check(
    "recipe",
    cell="water_volume",
    level="note",
    says="Neither the water nor the wash volume on the batch card is filled in, so nothing can be computed.",
    advice="Type one of them.",
)
def water_missing(water_volume: Array, wash_volume: Array, parts: Parts) -> bool:
    """Items alone make no wash; a drink does."""
    alone = np.nansum(parts.contents.water) < np.nansum(parts.contents.extract)
    there = np.nansum(parts.contents.extract) > 0
    return bool(np.isnan(water_volume) and np.isnan(wash_volume) and there and alone)


@check(
    "recipe",
    cell="water_volume",
    level="warning",
    says="This recipe makes {expected_volume}; the batch card says {wash_volume}.",
    advice="Check the water, the amounts, the wash volume, and their units. Water still to add stands below.",
)
def volume_disagrees(volume_off: Mask, gravity_off: Mask, settled: bool) -> Mask:
    """Where the gravity is off, too, and would be in the right volume, that is the one thing to say."""
    return volume_off & ~gravity_off & settled


@check(
    "recipe",
    cell="expected_gravity",
    level="warning",
    says="Made up to the wash's volume the recipe gives {in_wash}, the batch card says {original_gravity}: "
    "further apart than hydrometer, weights and water can explain. {meant}",
    advice="{first} Check the amounts, their units and the water.",
)
def gravity_disagrees(
    gravity_off: Mask,
    gravity_in_wash: Array,
    settled: bool,
    gravity_doubt: Array,
    original_gravity: Array,
    hydrometer: Instrument,
    parts: Parts,
    item: Any,
    of_kind: Any,
    amount: Array,
    dissolving: Array,
    water_volume: Array,
    wash_volume: Array,
    grain_and_pulp: Any,
) -> tuple[Mask, dict[str, Any]]:
    """The measured gravity is not the recipe's."""
    wrong = gravity_off & settled
    meant = ""
    if wrong:
        allowed = np.hypot(gravity_doubt, hydrometer.uncertainty)
        litre = must.density_of_part(dissolving, np.nan) / 1000
        for i, factor, words in _slips_of_amount(item, of_kind, amount, litre):
            scale = np.where(np.arange(len(amount)) == i, factor, 1.0)
            other = _made(_scaled(parts, scale), water_volume, wash_volume, str(grain_and_pulp))
            if np.abs(must.gravity(other.contents) - original_gravity) <= allowed:
                meant = meant or words
    like = "expected_gravity"
    first = _look_first(parts, of_kind, bool(original_gravity < gravity_in_wash))
    return wrong, {
        "meant": (np.array(meant, dtype=object), like),
        "in_wash": (gravity_in_wash, like),
        "first": (np.array(first, dtype=object), like),
    }


def _look_first(parts: Parts, of_kind: Any, too_thin: bool) -> str:
    """What mostly lies behind a gravity that is not the recipe's (common practice)."""
    extract = np.nan_to_num(parts.contents.extract)
    if extract[np.isin(of_kind, MASHED)].sum() < 0.5 * extract.sum():
        return "Stir until all sugar is dissolved, and read again."
    if too_thin:
        return (
            "Was the mash converted? A drop of iodine must not turn it blue or black; if it does, keep it "
            "warm with malt or enzymes until it no longer does. Stir, and read a sample without grain again; "
            "or type the mash efficiency you got."
        )
    return "Stir, and read a sample without grain again; a mash that gives more has a better mash efficiency."


def _slips_of_amount(
    item: Any, of_kind: Any, amount: Array, litre: Array
) -> Iterator[tuple[int, float, str]]:
    """What may have gone wrong with a weight: the item, the factor that would mend it, what it would mean."""
    for i in map(int, np.flatnonzero(np.isfinite(amount))):
        name = item[i] or of_kind[i]
        if of_kind[i] not in SOLID and litre[i] > 1.02:
            yield i, float(litre[i]), f"It would fit if the {name} was measured by volume, not weighed."
        yield i, 0.1, f"It would fit with the point moved in the weight of the {name}."
        yield i, 10.0, f"It would fit with the point moved in the weight of the {name}."


def _scaled(parts: Parts, scale: Array) -> Parts:
    contents = Must(*(scale * part for part in parts.contents))
    return Parts(contents, scale * parts.pulp, scale * parts.held_water, scale * parts.held_must)


@check(
    "recipe",
    cell="expected_gravity",
    level="warning",
    says="{expected_gravity} is sweeter than yeast is made for; it may start late or not at all.",
    advice="Use more water, or feed the sugar in two or three portions.",
)
def too_sweet(expected_gravity: Array, off_plan: bool, outgrown: Mask) -> Mask:
    """Above the sweetest wash of the trade; where the yeast's own limit is known, that is said instead."""
    return np.asarray((expected_gravity > HIGHEST_GRAVITY) & ~outgrown & (not off_plan))


@check(
    "recipe",
    cell="potential_alcohol",
    level="warning",
    says="This could reach {potential_alcohol}; the yeast may give up at {yeast_tolerance} and leave sugar.",
    advice="Use less sugar, more water or a stronger yeast.",
)
def beyond_the_yeast(
    outgrown: Mask, off_plan: bool, batch_usual_strength: Array, yeast_tolerance: Array
) -> Mask:
    """More sugar than the yeast can take; where the batch card's gravity tells it, it is said there."""
    return np.asarray(outgrown & (not off_plan) & ~(batch_usual_strength > yeast_tolerance + PACKET))


@check(
    "recipe",
    cell="wanted_strength",
    level="warning",
    says="The yeast may give up at {yeast_tolerance}, before the wanted {wanted_strength}.",
    advice="Type a lower strength, or take a stronger yeast; beyond that only the still helps.",
)
def wanted_beyond_the_yeast(wanted_strength: Array, yeast_tolerance: Array) -> Mask:
    """Above the packet's figure by more than its rounding."""
    return wanted_strength > yeast_tolerance + PACKET


samples.fahrenheit(
    "fahrenheit_pitch",
    "recipe",
    "pitch_temperature",
    "{pitch_temperature} would kill the yeast",
    "Choose °F as the unit, or write °F behind the number. If it was so hot, cool the wash and pitch fresh "
    "yeast.",
)


samples.celsius(
    "celsius_pitch",
    "recipe",
    "pitch_temperature",
    "At {pitch_temperature} it would be frozen",
    "Choose °C as the unit, or write °C behind the number.",
)


@check(
    "recipe",
    cell="pitch_temperature",
    level="warning",
    says="{pitch_temperature} is warmer than this yeast should have it ({temperature_high} at most).",
    advice="Let the wash cool before the yeast goes in.",
)
def pitched_too_warm(pitch_temperature: Array, temperature_high: Array, thermometer: Instrument) -> Mask:
    """Above the packet's range by more than the thermometer can be off."""
    hot = pitch_temperature + thermometer.correction > temperature_high + thermometer.uncertainty
    return hot & ~slips.fahrenheit_for_celsius(pitch_temperature)


@check(
    "recipe",
    cell="pitch_temperature",
    level="warning",
    says="{pitch_temperature} is cooler than this yeast should have it ({temperature_low} at least).",
    advice="Warm the wash before the yeast goes in; in the cold it may start late or not at all.",
)
def pitched_too_cool(pitch_temperature: Array, temperature_low: Array, thermometer: Instrument) -> Mask:
    """Below the packet's range by more than the thermometer can be off."""
    cold = pitch_temperature + thermometer.correction < temperature_low - thermometer.uncertainty
    return cold & ~slips.celsius_for_fahrenheit(pitch_temperature)
