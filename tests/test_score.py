"""A small part of the score (tests/score.py), with floors that nothing may fall through; and the simulator's
own physics against printed values, or the score would be worth nothing.
"""

import in_memory
import pytest
import score
from in_memory import Again, blank, remembering
from simulator import distiller, faults, page, physics

from sheetcalc import compute

LOGS = 24  # of the development set; the tables come from a thousand


@pytest.fixture(scope="module")
def tally() -> score.Tally:
    """The first logs of the development set, in two processes."""
    return score.run(score.SETS["development"], LOGS, jobs=2)


def test_most_mistakes_are_found_and_on_their_cell(tally: score.Tally) -> None:
    planted, found = tally.planted.total(), tally.found.total()
    assert planted == LOGS * score.PLANTED
    assert found >= 0.9 * planted, score.report(tally)
    assert tally.right.total() >= 0.9 * found, score.report(tally)


def test_clean_logs_are_left_alone(tally: score.Tally) -> None:
    assert tally.clean_with_flags <= 1, score.report(tally)


def test_a_real_file_gives_the_same_findings(tally: score.Tally) -> None:
    assert tally.unlike_in_file == []


def test_the_same_seed_gives_the_same_log() -> None:
    assert distiller.batch(5).log == distiller.batch(5).log != distiller.batch(6).log


def test_what_is_taken_over_is_what_would_be_computed() -> None:
    """A spoilt log is computed from the clean one's values; that changes no finding."""
    batch = distiller.batch(3)
    book = blank("us" if batch.bench.system == "us" else "metric")
    clean = compute.Values(in_memory.read(book, page.cells(batch, {}), score.labels(batch)))
    fault = faults.plant("the decimal point slipped in a strength", batch, batch.bench.rng)
    assert fault
    spoilt = in_memory.read(book, page.cells(batch, fault.changes), score.labels(batch))
    with remembering():
        list(compute.findings(clean))
        again = list(compute.findings(Again(spoilt, clean)))
    assert again == list(compute.findings(compute.Values(spoilt)))


def test_a_mistake_that_nobody_could_see_is_not_planted() -> None:
    for seed in range(3):
        batch = distiller.batch(seed)
        for kind in faults.KINDS:
            fault = faults.plant(kind, batch, batch.bench.rng)
            assert fault is None or (fault.size >= faults.VISIBLE and fault.right and fault.changes)


def test_physics_of_the_simulator() -> None:
    """OIML R 22, 27 CFR 30.61, the Perry table and the run computed from it: as in tests/liquids."""
    assert physics.spirit_density(0.0, 20.0) == pytest.approx(998.201, abs=0.001)
    assert physics.spirit_density(1.0, 20.0) == pytest.approx(789.239, abs=0.001)
    assert 100 * physics.mass_fraction(40.0) == pytest.approx(33.300, abs=0.001)
    means = physics.alcoholmeter_means(96.5, (75 - 32) / 1.8, physics.SIXTY_FAHRENHEIT)
    assert physics.proof(means) == pytest.approx(189.46, abs=0.01)
    # ICUMSA: 9.99249 %; the polynomial follows its table to 0.0009 °Bx (rms).
    assert physics.brix(1.04) == pytest.approx(9.99249, abs=0.002)
    assert physics.vapour_over(0.0721) == pytest.approx(0.3891, abs=1e-4)
    run = physics.distil(4.0, 14.0, 1.0)
    at = int((run.volume() < 0.70).sum())
    volume, strength = physics.amount(float(run.ethanol[at]), float(run.water[at]))
    assert strength == pytest.approx(52.0, abs=1.5)
    assert volume * strength / (4.0 * 14.0) == pytest.approx(0.65, abs=0.03)


def test_fermentation_of_the_simulator() -> None:
    """Balling and Tabarié for a sugar wash of 1.080: about 12.5 % vol, near 0.986 (hand balance)."""
    wash = physics.wash(0.1932, 0.97)
    assert wash.gravity == pytest.approx(0.986, abs=0.001)
    assert wash.strength == pytest.approx(12.5, abs=0.2)
