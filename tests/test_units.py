"""Units at the border, held against pint and the definitions of the units."""

import math
import time
from contextlib import suppress
from datetime import date

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sheetcalc import units
from sheetcalc.liquids import spirit

PINT_NAMES = {
    ("volume", "L"): "liter",
    ("volume", "mL"): "milliliter",
    ("volume", "cL"): "centiliter",
    ("volume", "dL"): "deciliter",
    ("volume", "hL"): "hectoliter",
    ("volume", "gal"): "US_liquid_gallon",
    ("volume", "qt"): "US_liquid_quart",
    ("volume", "fl oz"): "US_fluid_ounce",
    ("mass", "kg"): "kilogram",
    ("mass", "g"): "gram",
    ("mass", "lb"): "pound",
    ("mass", "oz"): "ounce",
    ("temperature", "°C"): "degC",
    ("temperature", "°F"): "degF",
    ("price by weight", "per kg"): "1/kilogram",
    ("price by weight", "per lb"): "1/pound",
    ("price by volume", "per L"): "1/liter",
    ("price by volume", "per gal"): "1/US_liquid_gallon",
    ("length", "m"): "meter",
    ("length", "ft"): "foot",
    ("power", "W"): "watt",
    ("power", "kW"): "kilowatt",
    ("energy", "kWh"): "kilowatt_hour",
    ("energy", "MJ"): "megajoule",
    ("duration", "h"): "hour",
    ("duration", "min"): "minute",
    ("duration", "d"): "day",
    ("ratio", "%"): "percent",
    ("mass dose", "g/L"): "gram / liter",
    ("mass dose", "g/hL"): "gram / hectoliter",
    ("mass dose", "g/gal"): "gram / US_liquid_gallon",
    ("mass dose", "oz/gal"): "ounce / US_liquid_gallon",
    ("volume dose", "mL/L"): "milliliter / liter",
    ("volume dose", "mL/hL"): "milliliter / hectoliter",
    ("volume dose", "mL/gal"): "milliliter / US_liquid_gallon",
    ("volume dose", "fl oz/gal"): "US_fluid_ounce / US_liquid_gallon",
    ("flow", "L/h"): "liter / hour",
    ("flow", "mL/h"): "milliliter / hour",
    ("flow", "gal/h"): "US_liquid_gallon / hour",
    ("flow", "fl oz/h"): "US_fluid_ounce / hour",
    ("throughput", "L/kg"): "liter / kilogram",
    ("throughput", "gal/lb"): "US_liquid_gallon / pound",
}
BASES = {"ratio": "dimensionless"} | {
    quantity: PINT_NAMES[quantity, next(iter(known))]
    for quantity, known in units.QUANTITIES.items()
    if known and (quantity, next(iter(known))) in PINT_NAMES and quantity != "ratio"
}
REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry()
EVERY = [(quantity, label) for quantity, known in units.QUANTITIES.items() for label in known]


@pytest.mark.parametrize(("quantity", "label"), list(PINT_NAMES))
def test_a_plain_unit_converts_as_pint_does(quantity: str, label: str) -> None:
    theirs = REGISTRY.Quantity(72.5, PINT_NAMES[quantity, label]).to(BASES[quantity]).magnitude
    assert float(units.to_base(72.5, quantity, label)) == pytest.approx(theirs, rel=1e-12)


@pytest.mark.parametrize(("quantity", "label"), EVERY)
@given(share=st.floats(0.01, 0.99))
def test_every_unit_comes_back_from_base_units(quantity: str, label: str, share: float) -> None:
    low, high = {"gravity": (0.99, 1.17), "strength": (0.0, 96.0)}.get(quantity, (0.0, 1000.0))
    base = low + share * (high - low)
    there = units.from_base(base, quantity, label)
    assert float(units.to_base(there, quantity, label)) == pytest.approx(base, rel=1e-8, abs=1e-8)


def test_proof_in_a_strength_column_is_at_sixty_fahrenheit() -> None:
    # 27 CFR 30.11: proof is twice the % vol at 60 °F. With the densities of OIML R 22, 200 proof is pure
    # ethanol, at any temperature.
    assert float(units.to_base(200.0, "strength", "proof")) == pytest.approx(100.0, abs=1e-6)
    assert float(units.to_base(0.0, "strength", "proof")) == pytest.approx(0.0, abs=1e-9)


def test_proof_gallons_are_those_of_the_code_of_federal_regulations() -> None:
    # 27 CFR 30.64: a pound of 190 proof, weighed in air, is 0.14718 wine gallons and 0.27964 proof gallons;
    # the densities of OIML R 22 give 0.27966, as the code takes alcohol a little denser.
    strength = float(spirit.strength_from_proof(190.0))
    in_vacuo = 0.45359237 * (1 + 1.2 / 816 - 1.2 / 8000)  # OIML R 33: air 1.2, weights 8000 kg/m3
    ethanol = in_vacuo * float(spirit.mass_fraction(strength))
    litres = ethanol / 0.789239
    assert float(units.from_base(litres, "alcohol", "proof gal")) == pytest.approx(0.27964, abs=0.0002)


@pytest.mark.parametrize(
    ("strength", "unit", "value", "digits"),
    [
        # OIML R 22 (1975): densities at 20 °C, and 40 % vol is 33.300 % mass.
        (40.0, "kg/m3", 948.05, 0.005),
        (50.0, "kg/m3", 930.14, 0.005),
        (40.0, "% mass", 33.300, 0.0005),
        # 27 CFR 30.11: proof is twice the % vol at 60 °F, where 95 % vol at 20 °C is all but the same.
        (95.0, "proof", 190.0, 0.1),
    ],
)
def test_a_strength_is_shown_by_mass_by_proof_and_as_density(
    strength: float, unit: str, value: float, digits: float
) -> None:
    assert float(units.from_base(strength, "strength", unit)) == pytest.approx(value, abs=digits)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("2.5 gal", 2.5, "gal"),
        ("68 °F", 68.0, "°F"),
        ("12,4 °Bx", 12.4, "°Bx"),
        ("80 proof", 80.0, "proof"),
        (" 1 045 ", 1045.0, ""),
        ("1.234,5", 1234.5, ""),
        ("1,234.5", 1234.5, ""),
        ("−3", -3.0, ""),
        (",5L", 0.5, "L"),
        ("SG 1.045", 1.045, ""),
        ("1,234,567", 1234567.0, ""),
        ("12’500 g", 12500.0, "g"),
    ],
)
def test_numbers_are_read_as_people_write_them(text: str, value: float, unit: str) -> None:
    reading = units.read_number(text)
    assert (reading.value, reading.unit, reading.doubt) == (value, unit, "")


def test_a_comma_that_may_mean_thousands_is_told() -> None:
    reading = units.read_number("1,500")
    assert reading.value == 1.5
    assert "1,500" in reading.doubt


@pytest.mark.parametrize(
    "text", ["", "abc", "about 3", "--", "1.2.3,4,5", "2.5.", "1.5 2.5", "7 40", "1.2.3", "1,2,3", "12,34.5"]
)
def test_what_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="not a number"):
        units.read_number(text)


@given(st.text(max_size=40))
def test_any_text_is_a_number_or_refused(text: str) -> None:
    with suppress(ValueError):
        assert math.isfinite(units.read_number(text).value) or "e" in text.lower()


@given(st.text(max_size=40))
def test_any_text_is_a_moment_or_refused(text: str) -> None:
    with suppress(ValueError):
        assert math.isfinite(units.read_moment(text)[0])


@pytest.mark.parametrize(
    ("text", "quantity", "unit", "base"),
    [
        ("3 cups", "volume", "L", 3 * 0.2365882365),  # a US cup is 236.5882365 mL (NIST HB 44, appendix C)
        ("2 pints", "volume", "mL", 2 * 0.473176473),  # a US liquid pint (NIST HB 44, appendix C)
        ("1 stone", "mass", "kg", 6.35029318),  # 14 lb (Weights and Measures Act 1985)
        ("300 K", "temperature", "°C", 26.85),
        ("700 ml", "volume", "L", 0.7),
        ("40 %", "strength", "proof", 40.0),
        ("100", "temperature", "°F", 37.7777778),
        ("20°", "temperature", "°C", 20.0),
        ("68 degrees F", "temperature", "°C", 20.0),
        ("20 ºC", "temperature", "°F", 20.0),
        ("45 vol.%", "strength", "proof", 45.0),
        ("45% v/v", "strength", "% mass", 45.0),
        ("25 Liter", "volume", "gal", 25.0),
        ("1500 Watt", "power", "kW", 1500.0),
        ("45", "gravity", "points", 1.045),
        ("11,2 Brix", "gravity", "SG", 1.04503),  # ICUMSA / NBS C440 tables: 11.2 °Bx is SG 1.0450
    ],
)
def test_a_cell_may_carry_its_own_unit(text: str, quantity: str, unit: str, base: float) -> None:
    value, _ = units.convert(units.read_number(text), quantity, unit)
    assert value == pytest.approx(base, abs=2e-5)


@pytest.mark.parametrize(("text", "quantity"), [("3 kg", "volume"), ("20 L", "temperature"), ("5 x", "mass")])
def test_a_unit_of_another_quantity_is_refused(text: str, quantity: str) -> None:
    with pytest.raises(ValueError, match="is no unit here"):
        units.convert(units.read_number(text), quantity, next(iter(units.QUANTITIES[quantity])))


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-04 18:30",
        "2026-03-04T18:30",
        "4.3.2026 18:30",
        "4 Mar 2026 6:30 pm",
        "4. March 2026 18:30",
        "4.3.26, 18:30 Uhr",
        "4/3/26 6:30 pm",
        "March 4, 2026 18:30",
        "4-Mar-2026 18:30",
        "2026-03-04T18:30:00Z",
    ],
)
def test_dates_are_read_as_people_write_them(text: str) -> None:
    days = (date(2026, 3, 4) - date(1899, 12, 30)).days
    assert units.read_moment(text)[0] == pytest.approx(days + 18.5 / 24)


def test_a_date_that_fits_both_ways_is_told() -> None:
    assert units.read_moment("4/3/2026")[1]
    assert not units.read_moment("14/3/2026")[1]
    assert units.read_moment("3/14/2026") == units.read_moment("14/3/2026") == units.read_moment("3/14/26")


@given(st.floats(30000, 60000))
def test_moments_come_back_to_the_second(days: float) -> None:
    again = (units.moment(days) - units.EPOCH).total_seconds() / 86400
    assert abs(again - days) <= 0.51 / 86400


def test_blank_stays_blank_in_every_unit() -> None:
    for quantity, label in EVERY:
        assert np.isnan(units.to_base(np.nan, quantity, label))
        assert np.isnan(units.from_base(np.nan, quantity, label))


def test_what_is_very_little_is_not_shown_as_nothing() -> None:
    assert units.show(0.00006, "volume", "mL", 0) == "0.06 mL"
    assert units.show(-1e-9, "strength change", "% vol") == "0.0 % vol"
    assert units.show(0.0, "mass", "g") == "0.0 g"


@pytest.mark.parametrize(
    "unit", ["L**9**9**9", "L^99999999", "((((", "L" + "*L" * 5000, "$", "L L L", "__import__"]
)
def test_a_unit_made_to_keep_pint_busy_is_no_unit(unit: str) -> None:
    with pytest.raises(ValueError, match="is no unit here"):
        units.convert(units.Reading(1.0, unit, ""), "volume", "L")


@given(st.text(alphabet="abcdLmkgh µ°/*^23_", max_size=40))
def test_any_text_is_a_unit_or_refused(text: str) -> None:
    with suppress(ValueError):
        units.convert(units.Reading(1.0, text, ""), "volume", "L")


def test_long_texts_are_told_from_numbers_at_once() -> None:
    start = time.perf_counter()
    for text in (f"1{' ' * 30_000}x", "1" * 30_000 + " 1", f"{'1 ' * 15_000}", f"{' ' * 30_000}1,"):
        with suppress(ValueError):
            units.read_number(text)
        with suppress(ValueError):
            units.read_moment(text)
    assert time.perf_counter() - start < 1


def test_what_cannot_be_seen_is_not_quoted() -> None:
    assert units.short("a\x1b[31m\u202eb\nc") == "'a\ufffd[31m\ufffdb c'"
    assert units.short("x" * 100) == f"'{'x' * 40}…'"


def test_a_half_goes_up_as_in_a_cell_whatever_rounding_error_it_has() -> None:
    for value in (2.4475 - 2e-15, 2.4475, 2.4475 + 2e-15):
        assert units.show(value, "volume", "L", 3) == "2.448 L"
    assert units.show(2.44749, "volume", "L", 3) == "2.447 L"
