"""Least strengths at which spirits are sold. Laws change and differ: check your own local law."""

import numpy as np

from sheetcalc.liquids import spirit

# % vol either way: 27 CFR 19.356; EU 1169/2011 annex XII (from memory).
LABEL_TOLERANCE = 0.3

# % vol at 20 °C by what the wash is usually sold as: EU 2019/787 annex I (from memory).
_EUROPEAN = {
    "sugar": 37.5,  # vodka
    "grain": 35.0,  # grain spirit
    "fruit": 37.5,  # fruit spirit
    "molasses": 37.5,  # rum
    "wine": 36.0,  # brandy
}
# 80 proof, that is 40 % vol at 60 °F: 27 CFR part 5 (from memory).
_AMERICAN = float(spirit.strength_from_proof(80.0))
# Common practice for white spirit; no source.
_SOUTH_AFRICAN = 43.0


def legal_minimum(place: str, wash_kind: str, own_minimum: float = np.nan) -> float:
    """Least strength, % vol at 20 °C, at which a spirit may be sold. Check your own local law.

    place: "EU", "US", "South Africa"; any other has no value of ours; wash_kind: "sugar", "grain",
    "fruit", "molasses" or "wine", which tells the product in the EU; own_minimum: % vol, NaN when not
    given, else it can raise the minimum of a known place and is the minimum of any other. NaN when unknown.
    Source: beside each value; common practice for which product a wash becomes.
    """
    known = {"EU": _EUROPEAN.get(wash_kind, np.nan), "US": _AMERICAN, "South Africa": _SOUTH_AFRICAN}
    return float(np.fmax(known.get(place, np.nan), own_minimum))
