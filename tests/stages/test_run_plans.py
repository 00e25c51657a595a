"""What earlier runs say of the still, and the charges planned for a wash."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from logs import Log, spoilt, typed

from sheetcalc.filling import examine
from sheetcalc.liquids import vapour
from sheetcalc.stages import batch, runs

BLANK = np.asarray(np.nan)
DAYS = np.array([1.0, 2.0, 3.0, 4.0])


@pytest.mark.parametrize("pressure", [85.0, 101.325])
@pytest.mark.parametrize("stages", [1.05, 1.25, 1.8, 3.0])
def test_stages_are_seen_again_in_what_they_give(stages: float, pressure: float) -> None:
    charge, strength, collected = np.array([8.0]), np.array([12.0]), np.array([1.0])
    gave = vapour.distil(charge, strength, collected, stages, pressure)
    share = gave.alcohol / 0.96
    seen = runs.stages_seen(charge, strength, collected, gave.strength, np.asarray(pressure), share)
    assert seen == pytest.approx([stages], abs=0.03)


def test_no_stages_are_seen_in_what_no_still_gives() -> None:
    # 8 L at 12 % vol: 1 L at 40 is less than Perry's vapour gives in one boiling, 1 L at 97 is beyond the
    # azeotrope, 1.93 L at 49 is all the alcohol (0.946 of 0.96 L), as any still would give it.
    collected, strength = np.array([1.0, 1.0, 1.93]), np.array([40.0, 97.5, 49.0])
    share = collected * strength / 100 / 0.96
    seen = runs.stages_seen(np.full(3, 8.0), np.full(3, 12.0), collected, strength, np.asarray(100.0), share)
    assert np.isnan(seen).all()


def test_a_run_is_planned_with_the_median_of_those_before_it() -> None:
    seen = np.array([1.1, np.nan, 1.4, 1.3])
    # By hand: before the first nothing; then 1.1; 1.1; the median of 1.1 and 1.4.
    assert runs.stages_planned(BLANK, seen, runs.earlier(DAYS)) == pytest.approx([1.25, 1.1, 1.1, 1.25])
    assert runs.stages_planned(BLANK, seen[::-1], runs.earlier(DAYS[::-1])) == pytest.approx(
        [1.25, 1.1, 1.1, 1.25]
    )
    assert runs.stages_planned(BLANK, seen, runs.earlier(DAYS * np.nan)) == pytest.approx(
        [1.25, 1.1, 1.1, 1.25]
    )


def test_typed_stages_are_kept() -> None:
    seen = np.array([1.1, np.nan, 1.4, 1.3])
    assert runs.stages_planned(np.asarray(2.0), seen, runs.earlier(DAYS)) == pytest.approx(2.0)
    assert runs.stages_for_plan(np.asarray(2.0), seen) == 2.0


def test_first_runnings_of_a_sugar_wash_are_the_usual() -> None:
    # Common practice: 50 mL from 25 L of sugar wash at 10 % vol; more from anything else.
    charged = np.array([2.5])
    assert runs.first_runnings(charged, "sugar") == pytest.approx([0.050])
    for kind in ("grain", "molasses", "fruit", "wine", ""):
        assert runs.first_runnings(charged, kind) > 0.050


@settings(deadline=None)
@given(wash=st.floats(0.5, 5000.0), capacity=st.floats(0.5, 2000.0))
def test_planned_charges_add_up_to_the_wash(wash: float, capacity: float) -> None:
    charges = batch.planned_charges(np.asarray(wash), np.asarray(capacity))
    each = batch.planned_charge_volume(np.asarray(wash), charges)
    assert charges == np.round(charges)
    assert charges >= 1
    assert charges * each == pytest.approx(wash, rel=1e-9)
    # Each leaves room for foam (common practice: 85 % full), and one charge less would not.
    assert each <= 0.85 * capacity * (1 + 1e-6)
    assert charges == 1 or wash / (charges - 1) > 0.85 * capacity


def test_what_was_racked_last_is_what_goes_to_the_still() -> None:
    wash, after, done = np.asarray(25.0), np.array([24.0, np.nan, 24.6]), np.array([2.0, 3.0, 1.0])
    assert batch.wash_to_run(wash, after, done) == 24.0
    assert batch.wash_to_run(wash, np.array([np.nan]), np.array([1.0])) == 25.0
    assert batch.wash_to_run(wash, np.array([30.0]), np.array([np.nan])) == 25.0


def test_planned_charges_by_hand() -> None:
    # 25 L in a still of 10 L: 8.5 L at most, so three charges; 17 L are two to the drop.
    assert batch.planned_charges(np.array([25.0, 17.0, 5.0]), np.asarray(10.0)) == pytest.approx([3, 2, 1])
    assert np.isnan(batch.planned_charges(np.array([np.nan, 25.0]), np.array([10.0, 0.0]))).all()


def test_nothing_is_planned_of_a_wash_of_unknown_strength() -> None:
    # 4 L in a still that must keep 0.8 L: without a strength 3.2 L would come over, whatever it is.
    known = [
        batch.planned_collected_volume(
            np.asarray(4.0), strength, *[np.asarray(v) for v in (20.0, 1.25, 101.3, 0.8)]
        )
        for strength in (BLANK, np.asarray(10.0))
    ]
    assert np.isnan(known[0])
    assert 0.4 < known[1] < 3.2


@pytest.fixture
def planned(blank: Callable[..., Path], tmp_path: Path) -> Callable[[Log], dict[str, float]]:
    """The plan on the batch card of a log."""

    def plan(log: Log) -> dict[str, float]:
        values = examine(typed(log, blank("batch", "metric", ".xlsx"), tmp_path / "log.xlsx")).values
        keys = ("strength", "stages", "charges", "charge_volume", "collected_volume", "collected_strength")
        return {key: float(values.get("batch", f"planned_{key}")) for key in (*keys, "time")}

    return plan


def no_runs_yet(log: Log) -> None:
    log["runs"], log["cuts"] = [], []


def in_the_middle(log: Log) -> None:
    no_runs_yet(log)
    del log["fermentation"][4:]


def only_the_gravity(log: Log) -> None:
    no_runs_yet(log)
    log["fermentation"] = []


def test_a_finished_wash_is_planned_as_it_was_measured(planned: Any) -> None:
    plan = planned(spoilt(no_runs_yet))
    # The wash of the clean log: 1.080 to 0.990. Sugar at 0.5114 g of alcohol a gram of hexose and with
    # 5 % lost to the yeast makes 11.5 to 12.5 % vol (by hand).
    assert 11.5 < plan["strength"] < 12.5
    assert (plan["charges"], plan["stages"]) == (3, 1.25)
    # No more alcohol than there is.
    out = plan["charges"] * plan["collected_volume"] * plan["collected_strength"] / 100
    assert 0.8 < out / (25.0 * plan["strength"] / 100) < 1.0


@pytest.mark.parametrize("change", [in_the_middle, only_the_gravity])
def test_a_working_wash_is_planned_as_it_will_end(planned: Any, change: Callable[[Log], None]) -> None:
    # Common practice: a sugar wash ends with 90 to 100 % of its extract gone: within a tenth of 12.5 % vol.
    end = planned(spoilt(no_runs_yet))["strength"]
    assert planned(spoilt(change))["strength"] == pytest.approx(end, abs=1.2)


def test_a_planned_charge_is_the_run_it_becomes(blank: Callable[..., Path], tmp_path: Path) -> None:
    """What the card plans is what the runs sheet then expects of that charge."""

    def charge_as_planned(log: Log) -> None:
        no_runs_yet(log)
        log["clearing"] = []
        log["runs"] = [{"run": "1", "charge_volume": 25.0 / 3, "charge_strength": 12.0}]

    path = typed(spoilt(charge_as_planned), blank("batch", "us", ".ods"), tmp_path / "log.ods")
    values = examine(path).values
    for on_card, on_runs in (
        ("collected_volume", "expected_volume"),
        ("collected_strength", "expected_strength"),
    ):
        expected = values.get("runs", on_runs)
        assert expected == pytest.approx([float(values.get("batch", f"planned_{on_card}"))], rel=1e-9)
