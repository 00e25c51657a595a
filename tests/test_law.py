"""Legal minimum strengths as the reference values list them."""

import numpy as np
import pytest

from sheetcalc import law
from sheetcalc.liquids import spirit


@pytest.mark.parametrize(
    ("kind", "minimum"),
    # EU 2019/787 annex I (from memory): vodka, fruit spirit and rum 37.5, grain spirit 35, brandy 36 % vol.
    [("sugar", 37.5), ("grain", 35.0), ("fruit", 37.5), ("molasses", 37.5), ("wine", 36.0)],
)
def test_european_minimum_follows_the_kind_of_wash(kind: str, minimum: float) -> None:
    assert law.legal_minimum("EU", kind) == minimum


def test_american_minimum_is_80_proof() -> None:
    # 27 CFR part 5 (from memory): 40 % vol at 60 °F.
    assert spirit.proof(law.legal_minimum("US", "grain")) == pytest.approx(80.0, abs=1e-8)


def test_south_african_minimum() -> None:
    # Common practice for white spirit.
    assert law.legal_minimum("South Africa", "sugar") == 43.0


def test_own_minimum_raises_a_known_place_and_rules_elsewhere() -> None:
    assert law.legal_minimum("EU", "sugar", 40.0) == 40.0
    assert law.legal_minimum("EU", "sugar", 30.0) == 37.5
    assert law.legal_minimum("other", "sugar", 30.0) == 30.0


def test_unknown_is_nan() -> None:
    assert np.isnan(law.legal_minimum("other", "sugar"))
    assert np.isnan(law.legal_minimum("EU", "potato"))
    assert np.isnan(law.legal_minimum("", ""))


def test_label_tolerance() -> None:
    # 27 CFR 19.356: 0.3 % vol either way.
    assert law.LABEL_TOLERANCE == 0.3
