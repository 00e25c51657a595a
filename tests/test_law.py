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


@pytest.mark.parametrize(
    ("product", "minimum"),
    # EU 2019/787 annex I (from memory).
    [
        ("vodka", 37.5),
        ("gin", 37.5),
        ("rum", 37.5),
        ("whisky", 40.0),
        ("brandy", 36.0),
        ("fruit spirit", 37.5),
        ("grain spirit", 35.0),
        ("neutral", 96.0),
    ],
)
def test_european_minimum_of_a_product(product: str, minimum: float) -> None:
    assert law.product_minimum("EU", product) == minimum
    # 27 CFR part 5 (from memory): 80 proof for all of them; South Africa 43 (common practice, white spirit).
    assert spirit.proof(law.product_minimum("US", product)) == pytest.approx(80.0, abs=1e-8)
    assert law.product_minimum("South Africa", product) == 43.0


def test_an_unknown_product_has_only_ones_own_minimum() -> None:
    assert np.isnan(law.product_minimum("EU", "other"))
    assert law.product_minimum("US", "other", 45.0) == 45.0
    assert law.product_minimum("EU", "rum", 40.0) == 40.0


def test_fill_tolerances() -> None:
    # 27 CFR 19.356: 1.5 % from 1.0 L, 2.0 % for 376 to 999 mL, 3.0 % for 101 to 375 mL, 4.5 % to 100 mL.
    sizes = [1.75, 1.0, 0.999, 0.376, 0.375, 0.101, 0.1, 0.05]
    shares = [0.015, 0.015, 0.02, 0.02, 0.03, 0.03, 0.045, 0.045]
    assert law.fill_tolerance(sizes) == pytest.approx(shares)
    assert np.isnan(law.fill_tolerance([0.0, np.nan])).all()
