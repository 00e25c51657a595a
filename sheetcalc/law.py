"""Least strengths and tolerances for sale. Laws change and differ: check your own local law."""

import numpy as np
from numpy.typing import ArrayLike

from sheetcalc.liquids import Array, spirit

# % vol either way: 27 CFR 19.356; EU 1169/2011 annex XII (from memory).
LABEL_TOLERANCE = 0.3

# % vol at 20 °C: EU 2019/787 annex I (from memory). The last is the least for neutral alcohol as such.
_EUROPEAN = {
    "vodka": 37.5,
    "gin": 37.5,
    "rum": 37.5,
    "whisky": 40.0,
    "brandy": 36.0,
    "fruit spirit": 37.5,
    "grain spirit": 35.0,
    "neutral": 96.0,
}
# 80 proof, that is 40 % vol at 60 °F, for every spirit bottled: 27 CFR part 5 (from memory).
_AMERICAN = dict.fromkeys(_EUROPEAN, float(spirit.strength_from_proof(80.0)))
# Common practice for white spirit; no source. It is taken for the others, too, as the stricter value.
_SOUTH_AFRICAN = dict.fromkeys(_EUROPEAN, 43.0)

_PLACES = {"EU": _EUROPEAN, "US": _AMERICAN, "South Africa": _SOUTH_AFRICAN}

# What a wash usually becomes; common practice.
_USUAL_PRODUCT = {
    "sugar": "vodka",
    "grain": "grain spirit",
    "fruit": "fruit spirit",
    "molasses": "rum",
    "wine": "brandy",
}


def product_minimum(place: str, product: str, own_minimum: float = np.nan) -> float:
    """Least strength, % vol at 20 °C, at which a product may be sold in a place. Check your own local law.

    place: "EU", "US", "South Africa"; product: "vodka", "gin", "rum", "whisky", "brandy", "fruit spirit",
    "grain spirit" or "neutral"; for any other place or product we know none. own_minimum: % vol, NaN when
    not given; it can raise the minimum of a place, and is the minimum where we know none. NaN when unknown.
    Source: beside each value.
    """
    return float(np.fmax(_PLACES.get(place, {}).get(product, np.nan), own_minimum))


def legal_minimum(place: str, wash_kind: str, own_minimum: float = np.nan) -> float:
    """Least strength, % vol at 20 °C, at which the usual product of a wash may be sold.

    wash_kind: "sugar", "grain", "fruit", "molasses" or "wine"; the rest as for `product_minimum`.
    Outside the EU it is the same for every product, so the kind of wash need not be known.
    Source: beside each value; common practice for which product a wash becomes.
    """
    product = _USUAL_PRODUCT.get(wash_kind, "" if place == "EU" else "vodka")
    return product_minimum(place, product, own_minimum)


def fill_tolerance(content: ArrayLike) -> Array:
    """Share by which the content of one bottle may differ from what its label says, either way.

    content: of the label, L, above 0, any shape; NaN else. Source: 27 CFR 19.356; the table leaves gaps of
    1 mL between its lines, which belong here to the line of smaller bottles. Others have their own rules.
    """
    litres = np.asarray(content, dtype=np.float64)
    share = np.select([litres >= 1.0, litres > 0.375, litres > 0.1, litres > 0.0], [0.015, 0.02, 0.03, 0.045])
    return np.where(litres > 0.0, share, np.nan)
