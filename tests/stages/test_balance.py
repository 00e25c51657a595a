"""The balance of alcohol: hand-made batches, and the law that nothing comes from nowhere or goes nowhere."""

from datetime import timedelta
from typing import Any

import in_memory
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from logs import START

from sheetcalc import compute
from sheetcalc.findings import Finding
from sheetcalc.instruments import DEFAULTS, expanded_uncertainty
from sheetcalc.stages import accounts
from sheetcalc.stages import balance as stage
from sheetcalc.stages import flows as passing
from sheetcalc.stages.flows import NOTHING, Flow, Flows

NAN = float("nan")


def flow(alcohol: float, share: float = 0.02) -> Flow:
    """A flow of so much alcohol at 50 % vol, good to a share of it; NOTHING for none."""
    return Flow(2 * alcohol, alcohol, share * alcohol) if np.isfinite(alcohol) else NOTHING


def batch(**alcohol: float) -> Flows:
    """The flows of a batch by name; what is not given was skipped."""
    return Flows(**{name: flow(alcohol.get(name, NAN)) for name in Flows._fields})


AMOUNT = st.one_of(st.just(NAN), st.floats(0.01, 10.0))


@given(
    amounts=st.fixed_dictionaries({name: AMOUNT for name in Flows._fields if name != "filtered"}),
    passed=st.floats(0.5, 1.05),
    stripped=st.floats(0.0, 1.0),
)
def test_the_wash_is_bottled_lost_in_hand_or_unaccounted_for(
    amounts: dict[str, float], passed: float, stripped: float
) -> None:
    """Whatever was skipped and however wrong it was typed, the sum is exact: the definition of a balance."""
    amounts["filtered"] = amounts["into_filter"] * passed
    amounts["low_wines"] = amounts["collected"] * stripped
    flows = batch(**amounts)
    begun = stage.begun_with(flows)
    if np.isnan(flows.wash.alcohol) or np.isnan(flows.collected.alcohol) != np.isnan(flows.charged.alcohol):
        return  # the sum begins with the wash, and a run has two sides
    books = accounts.account(flows)
    bottled = np.nan_to_num(flows.bottled.alcohol)
    lost, in_hand = np.nansum(books.lost[passing.CHARGED :]), np.nansum(books.in_hand)
    assert bottled + lost + in_hand + books.unaccounted == pytest.approx(begun, rel=1e-9, abs=1e-9)
    assert not (books.lost < 0).any()
    assert not (books.in_hand < 0).any()


@given(
    wash=st.floats(1.0, 10.0),
    run=st.floats(0.95, 1.0),
    first=st.floats(0.75, 0.95),
    redistilled=st.floats(0.3, 1.0),
    second=st.floats(0.8, 0.97),
    hearts=st.floats(0.4, 1.0),
    through=st.floats(0.93, 1.0),
    filled=st.floats(0.2, 1.0),
    errors=st.lists(st.floats(-0.6, 0.6), min_size=9, max_size=9),
)
def test_an_honest_batch_closes_within_its_uncertainty_and_is_not_accused(
    wash: float,
    run: float,
    first: float,
    redistilled: float,
    second: float,
    hearts: float,
    through: float,
    filled: float,
    errors: list[float],
) -> None:
    """True amounts that only get less, each measured with an error well inside its own uncertainty."""
    charged = wash * run
    low_wines = charged * first
    again = low_wines * redistilled
    spirit = again * second
    brought = spirit * hearts
    out = brought * through
    names = ["wash", "charged", "collected", "charged_again", "collected_again"]
    names += ["brought", "into_filter", "filtered", "bottled"]
    true = [wash, charged, low_wines, again, spirit, brought, brought, out, out * filled]
    seen = {name: t * (1 + 0.02 * e) for name, t, e in zip(names, true, errors, strict=True)}
    flows = batch(**seen, low_wines=seen["collected"])
    books = accounts.account(flows)
    assert abs(books.unaccounted) <= float(stage.closure(flows))
    wrong, _ = stage.more_than_before(stage.excess(flows, books, 0.0), books, flows, *[False] * 4)
    assert not wrong.any()
    assert not stage.more_charged_again(stage.excess(flows, books, 0.0), books, False)[0].any()


def test_a_batch_by_hand() -> None:
    """25 L of wash at 12 %: 3.00 L of alcohol. Charged 2.90: 0.10 with the lees. Low wines 2.60: 0.30 in the
    pot. Charged again 2.20: 0.40 of low wines left. Spirit 2.00: 0.20 in the pot. Brought to strength 1.50:
    0.50 of heads and tails. Filter 1.50 in, 1.44 out: 0.06. Bottled 1.00: 0.44 in hand.
    In all: bottled 1.00, lost 0.66, in hand 1.34; the sum is 3.00."""
    flows = batch(
        recipe=3.1,
        wash=3.0,
        charged=2.9,
        collected=2.6,
        low_wines=2.6,
        charged_again=2.2,
        collected_again=2.0,
        brought=1.5,
        into_filter=1.5,
        filtered=1.44,
        bottled=1.0,
    )
    books = accounts.account(flows)
    lost = [NAN, 0.1, 0.1, 0.3, NAN, 0.2, NAN, 0.06, NAN]
    in_hand = [NAN, NAN, NAN, 0.4, NAN, 0.5, NAN, 0.44, NAN]
    assert books.lost == pytest.approx(lost, nan_ok=True)
    assert books.in_hand == pytest.approx(in_hand, nan_ok=True)
    assert books.unaccounted == pytest.approx(0.0, abs=1e-12)
    begun = stage.begun_with(flows)
    assert float(stage.overall_yield(flows, begun)) == pytest.approx(1 / 3)
    assert float(stage.lost_total(books.lost, flows)) == pytest.approx(0.66)
    assert float(stage.in_hand_total(books.in_hand, stage.stage(flows))) == pytest.approx(1.34)


def test_a_wash_not_run_yet_is_all_in_hand() -> None:
    books = accounts.account(batch(wash=3.0))
    assert books.in_hand[passing.WASH] == 3.0
    assert np.isnan(books.lost).all()


def test_half_a_wash_left_is_in_hand_and_a_twentieth_is_lees() -> None:
    half = accounts.account(batch(wash=3.0, charged=1.5, collected=1.4))
    assert half.in_hand[passing.WASH] == pytest.approx(1.5)
    assert np.isnan(half.lost[passing.CHARGED])
    nearly = accounts.account(batch(wash=3.0, charged=2.85, collected=2.6))
    assert np.isnan(nearly.in_hand[passing.WASH])
    assert nearly.lost[passing.CHARGED] == pytest.approx(0.15)


def test_a_skipped_stage_is_stepped_over() -> None:
    """Single runs, no filter and no strength sheet: bottled straight from the still."""
    books = accounts.account(batch(wash=3.0, charged=2.95, collected=2.5, bottled=2.5))
    assert np.nansum(books.in_hand) == 0.0
    assert np.nansum(books.lost) == pytest.approx(0.5)
    assert books.unaccounted == 0.0


def test_what_the_measures_cannot_tell_is_neither_lost_nor_in_hand() -> None:
    """2.50 measured at 2 %, then 2.47: the difference, 0.03, is less than 0.05."""
    books = accounts.account(batch(wash=3.0, charged=3.0, collected=2.5, bottled=2.47))
    assert np.nansum(books.in_hand) == 0.0
    assert books.unaccounted == pytest.approx(0.03)


def test_unfiltered_spirit_may_be_bottled_too() -> None:
    """One half of the lots goes through carbon, both are bottled: nothing comes from nowhere."""
    flows = batch(
        wash=3.0, charged=3.0, collected=2.5, brought=2.4, into_filter=1.2, filtered=1.15, bottled=2.3
    )
    books = accounts.account(flows)
    assert not (stage.excess(flows, books, 0.0) > 0).any()
    assert books.lost[passing.FILTERED] == pytest.approx(0.05)


@pytest.mark.parametrize(
    ("name", "number"),
    [
        ("brought", passing.BROUGHT),
        ("bottled", passing.BOTTLED),
        ("collected_again", passing.COLLECTED_AGAIN),
    ],
)
def test_more_than_there_was_is_an_error(name: str, number: int) -> None:
    amounts = {"wash": 3.0, "charged": 2.9, "collected": 2.6, "charged_again": 2.6, "collected_again": 2.4}
    flows = batch(**(amounts | {name: 3.2}))
    books = accounts.account(flows)
    wrong, _ = stage.more_than_before(stage.excess(flows, books, 0.0), books, flows, *[False] * 4)
    assert list(np.flatnonzero(wrong)) == [number]


def test_feints_of_an_earlier_batch_are_only_a_warning() -> None:
    flows = batch(wash=3.0, charged=2.9, collected=2.4, low_wines=2.4, charged_again=2.9, collected_again=2.6)
    books = accounts.account(flows)
    assert stage.more_charged_again(stage.excess(flows, books, 0.0), books, False)[0][passing.CHARGED_AGAIN]
    assert not stage.more_than_before(stage.excess(flows, books, 0.0), books, flows, *[False] * 4)[0].any()
    assert books.unaccounted == pytest.approx(-0.5)


def test_a_plan_or_a_run_still_going_counts_for_nothing() -> None:
    spirit = np.array([1.9, NAN]), np.array([0.8, NAN])
    measured = passing.measured(spirit)
    kinds = passing.kinds(np.array(["stripping", "stripping"], dtype=object), measured)
    charged = passing.charged(np.array([8.0, 8.0]), np.array([0.96, 0.96]), measured, kinds, 0.3)
    assert charged.volume == 8.0


def test_without_any_sheet_nothing_is_told() -> None:
    """Keys of sheets that are missing come as a single NaN, or as empty arrays."""
    for missing in (np.array(NAN), np.zeros(0)):
        spirit = passing.spirit(missing, missing, missing, missing, missing, missing, missing)
        measured = passing.measured(spirit)
        kinds = passing.kinds(missing, measured)
        assert passing.collected(spirit, measured, kinds, 0.8) == NOTHING
        assert passing.unmeasured(measured, *[missing] * 6) == 0.0
        assert passing.in_bottles(missing, missing, 0.8) == NOTHING
        assert passing.filter_flows(missing, missing, missing, missing, missing, [], set(), {}, 0.8) == (
            NOTHING,
            NOTHING,
        )
    assert passing.recipe(np.array(NAN), np.array(NAN)) == NOTHING
    assert len(stage.stage(batch())) == 0
    assert np.isnan(accounts.account(batch()).in_hand).all()


def test_a_wash_without_alcohol_yet_has_no_shares() -> None:
    empty = passing.Flow(0.0, 0.0, 0.0)
    flows = passing.Flows(*[passing.NOTHING] * len(Flows._fields))._replace(wash=empty, charged=empty)
    begun_with = stage.begun_with(flows)
    assert np.isnan(stage.overall_yield(flows, begun_with))
    wash = passing.wash(np.array(20.0), np.array(np.nan), empty, 0.1)
    assert np.isnan(wash.alcohol)


def test_the_wash_is_known_by_its_gravity_or_else_by_its_charges() -> None:
    now: Any = np.array(12.0)
    charged = Flow(16.0, 1.84, 0.05)  # 11.5 % vol
    assert passing.wash(np.array(25.0), now, charged, 0.3).alcohol == pytest.approx(3.0)
    assert passing.wash(np.array(25.0), np.array(NAN), charged, 0.5).alcohol == pytest.approx(2.875)


def test_uncertainties_by_hand() -> None:
    """Hydrometer of 0.002: half a division twice over, 2 sqrt(2 x 0.001^2 / 3) = 0.00163 SG (GUM 4.3.7); two
    readings 0.00231, at 131 % vol for one SG 0.30 % vol; the yield, good to 4 % of 12 % vol (0.48): together
    0.567. 25 L at 12 %: 3.0 L good to 2 % (0.06) and to 0.567 % of 25 L (0.142): together 0.154 L."""
    assert float(expanded_uncertainty(0.002)) == pytest.approx(0.00163, abs=5e-6)
    strength = passing.wash_uncertainty(np.array(12.0), DEFAULTS["hydrometer"])
    assert strength == pytest.approx(0.567, abs=0.001)
    wash = passing.wash(np.array(25.0), np.array(12.0), NOTHING, strength)
    assert wash.uncertainty == pytest.approx(0.1540, abs=0.0005)


def test_a_second_pass_through_the_carbon_is_not_counted_twice() -> None:
    """2.0 L at 45 in, 1.95 out at 45, in again, 1.92 out: in 0.9 L of alcohol, out 0.864."""
    into, out, level = np.array([2.0, 1.95]), np.array([1.95, 1.92]), np.array([45.0, 45.0])
    lot, both_lines = np.array(["a", "a"], dtype=object), np.array([True, True])
    passes, portions = [("a", both_lines, True)], [("a", both_lines, False)]
    first, last = passing.filter_flows(lot, into, level, out, level, passes, set(), {}, 0.8)
    assert (first.alcohol, last.alcohol) == pytest.approx((0.9, 0.864))
    both = passing.filter_flows(lot, into, level, out, level, portions, set(), {}, 0.8)
    assert both[0].alcohol == pytest.approx(3.95 * 0.45)


def test_jars_stand_in_for_a_run_that_was_not_measured_once_it_stopped() -> None:
    """Jars of 0.5 L and 0.3 L with 0.35 L and 0.15 L of alcohol: 0.8 L with 0.50 L."""
    runs: Any = np.array(["1", "2", "3"], dtype=object)
    volume, alcohol = np.array([1.9, NAN, NAN]), np.array([0.8, NAN, NAN])
    stopped = np.array([46000.0, 46001.0, NAN])
    jars: Any = np.array(["2", "2", "3"], dtype=object)
    in_jars = np.array([0.5, 0.3, 0.2]), np.array([0.35, 0.15, 0.1])
    volumes, alcohols = passing.spirit(runs, volume, alcohol, stopped, jars, *in_jars)
    assert volumes == pytest.approx([1.9, 0.8, NAN], nan_ok=True)
    assert alcohols == pytest.approx([0.8, 0.5, NAN], nan_ok=True)


def test_a_run_still_going_accuses_nobody() -> None:
    """Spirit of a run that is not measured yet may be in use already."""
    flows = batch(wash=3.0, charged=1.5, collected=1.3, brought=1.6)
    books = accounts.account(flows)
    measured = np.array([True, False])
    blank, names = np.full(2, NAN), np.array(["1", "2"], dtype=object)
    drip = np.array([46000.0, 46001.0])
    going = passing.unmeasured(measured, names, np.array([1.5, 1.4]), drip, blank, blank, np.zeros(0))
    assert going == pytest.approx(1.4)
    assert (stage.excess(flows, books, 0.0) > 0).any()
    assert not (stage.excess(flows, books, going) > 0).any()


def one_run(**sheets: Any) -> dict[str, Any]:
    """20 L of wash at 10 % vol, 2.0 L of alcohol; 2.5 L at 60 % come over, 1.5 L. All invented."""
    run = {"run": "1", "kind": "single", "charge_volume": 20.0, "charge_strength": 10.0}
    gave = {"collected_volume": 2500.0, "collected_reading": 60.0, "collected_temperature": 20.0}
    return {"batch": {"wash_volume": 20.0, "batch_code": "NEW-13"}, "runs": [run | gave], **sheets}


def lot(name: str, volume: float, reading: float, target: float) -> dict[str, Any]:
    """A line on Strength, read at 20 °C."""
    return {"lot": name, "volume": volume, "reading": reading, "temperature": 20.0, "target_strength": target}


def filled(name: str, bottles: int, strength: float) -> dict[str, Any]:
    """So many bottles of 500 mL."""
    return {"lot": name, "bottles": bottles, "bottle_size": 500.0, "label_strength": strength}


def reckoned(log: dict[str, Any]) -> tuple[compute.Values, list[Finding]]:
    values = compute.Values(in_memory.read(in_memory.blank("metric"), dict(in_memory.places(log))))
    return values, list(compute.findings(values))


@pytest.mark.parametrize(
    ("part", "of_this_wash", "elsewhere"),
    [
        ("OLD-12", 0.9, 0.9),
        ("OLD-12 hearts", 0.9, 0.9),
        ("Hearts of last year", 0.9, 0.9),
        ("heads from another batch", 0.9, 0.9),
        ("heads of the previous run", 1.8, np.nan),
        ("hearts of run 1", 1.8, np.nan),
        ("hearts, jar2", 1.8, np.nan),
        ("NEW-13, jar 4", 1.8, np.nan),
    ],
)
def test_spirit_of_another_batch_is_no_part_of_the_yield(
    part: str, of_this_wash: float, elsewhere: float
) -> None:
    """1.5 L at 60 % hold 0.9 L of alcohol, at 40 % in 2.25 L; poured together with as much of another batch.
    4.5 L in bottles hold 1.8 L, 0.9 of it of this wash: 45 % of its 2.0 L. What is called after a run or this
    batch is of it."""
    parts = [("L1", 2.25, 40.0), (part, 2.25, 40.0), ("water", 0.001, 0.0)]
    blend = [{"lot": "B-26", "part": p, "volume": v, "strength": s} for p, v, s in parts]
    log = one_run(strength=[lot("L1", 1.5, 60.0, 40.0)], blend=blend, bottling=[filled("B-26", 9, 40.0)])
    values, found = reckoned(log)
    assert values.get("balance", "pure_alcohol") == pytest.approx(of_this_wash, abs=0.001)
    assert values.get("balance", "overall_yield") == pytest.approx(of_this_wash / 2.0, abs=0.001)
    others = values.get("balance", "from_elsewhere")[passing.BOTTLED]
    assert others == pytest.approx(elsewhere, abs=0.001, nan_ok=True)
    assert ("other_batches" in [f.rule for f in found]) == np.isfinite(elsewhere)
    # All that is in bottles, for the duty and the register.
    assert values.get("register", "bottled_alcohol") == pytest.approx(1.8)


def test_a_blend_brought_down_counts_what_was_brought_to_strength_before_only_once() -> None:
    """L1, 0.9 L of alcohol, is brought to 45 % and blended with 0.5 L of a jar at 60 %, 0.3 L; the blend, 1.2
    L of alcohol, is brought to 40 %: 1.2 L in all, not 2.1."""
    parts = [("L1", 2.0, 45.0), ("jar 2", 0.5, 60.0)]
    blend = [{"lot": "B", "part": p, "volume": v, "strength": s} for p, v, s in parts]
    strength = [lot("L1", 1.5, 60.0, 45.0), lot("B", 2.5, 48.0, 40.0)]
    values, found = reckoned(one_run(strength=strength, blend=blend))
    assert values.get("balance", "alcohol")[passing.BROUGHT] == pytest.approx(1.2, abs=0.003)
    assert "more_than_before" not in [f.rule for f in found]


def test_spirit_of_another_batch_is_told_at_each_stage_it_passes() -> None:
    """L1, 0.9 L of alcohol, with as much of another batch: brought to 38 % as a blend, or filtered, from 4.5
    L to 4.4 L at 40 %, half of what passes is of that."""
    parts = [("L1", 2.25, 40.0), ("OLD-12", 2.25, 40.0)]
    blend = [{"lot": "B-26", "part": p, "volume": v, "strength": s} for p, v, s in parts]
    through = {"lot": "B-26", "volume_in": 4.5, "strength_in": 40.0, "volume_out": 4.4, "strength_out": 40.0}
    alone, down = lot("L1", 1.5, 60.0, 40.0), lot("B-26", 4.5, 40.0, 38.0)
    brought, _ = reckoned(one_run(strength=[alone, down], blend=blend))
    assert brought.get("balance", "from_elsewhere")[passing.BROUGHT] == pytest.approx(0.9, abs=0.003)
    filtered, _ = reckoned(one_run(strength=[alone], blend=blend, carbon=[through]))
    assert filtered.get("balance", "from_elsewhere")[passing.FILTERED] == pytest.approx(0.88, abs=0.003)
    assert filtered.get("balance", "alcohol")[passing.FILTERED] == pytest.approx(0.88, abs=0.003)


def test_names_that_lead_nowhere_tell_nothing_where_none_leads_anywhere() -> None:
    """Who names no lots and blends from buckets pours what was distilled."""
    blend = [{"lot": "B", "part": p, "volume": 1.0, "strength": 60.0} for p in ("smooth", "rest")]
    values, _ = reckoned(one_run(blend=blend, bottling=[filled("B", 4, 60.0)]))
    assert values.get("balance", "pure_alcohol") == pytest.approx(1.2)


def test_more_in_bottles_than_the_hearts_held_is_flagged() -> None:
    """Hearts of 0.9 L of alcohol; 5 bottles at 38 % hold 0.95, within what measures are off, 7 hold 1.33: no
    more than the run's 1.5 L, but more than was kept."""
    jars = [("1", 500.0, 75.0, "heads"), ("2", 1500.0, 60.0, "hearts"), ("3", 500.0, 45.0, "tails")]
    cuts = [
        {"run": "1", "jar": n, "volume": v, "reading": s, "temperature": 20.0, "fraction": f}
        for n, v, s, f in jars
    ]
    for bottles, flagged in ((5, False), (7, True)):
        _, found = reckoned(one_run(cuts=cuts, bottling=[filled("", bottles, 38.0)]))
        assert ("more_than_kept" in [f.rule for f in found]) == flagged
    del cuts[0]["fraction"]
    _, found = reckoned(one_run(cuts=cuts, bottling=[filled("", 7, 38.0)]))
    assert "more_than_kept" not in [f.rule for f in found]


def test_what_is_in_hand_stands_where_its_own_lot_stands() -> None:
    """L1, 0.9 L of alcohol, is filtered: 1.95 L at 45 % come out, 0.8775; 3 bottles take 0.675, 0.2025 stay.
    L2, 0.9 L at 41 %, is neither filtered nor bottled: 0.369 stay where they are, before and after."""
    strength = [lot("L1", 1.5, 60.0, 45.0), lot("L2", 0.9, 41.0, 41.0)]
    through = {"lot": "L1", "volume_in": 2.0, "strength_in": 45.0, "volume_out": 1.95, "strength_out": 45.0}
    for bottling, filtered in (([], 0.8775), ([filled("L1", 3, 45.0)], 0.2025)):
        values, _ = reckoned(one_run(strength=strength, carbon=[through], bottling=bottling))
        in_hand = values.get("balance", "in_hand")
        assert in_hand[passing.FILTERED] == pytest.approx(filtered, abs=0.001)
        assert in_hand[passing.BROUGHT] == pytest.approx(0.369, abs=0.001)


def test_sugar_in_a_working_wash_is_not_lost_alcohol() -> None:
    """Ten readings that fall, then four that stand: only then something is missing from what could have been,
    and only then a litre of alcohol has a price."""
    recipe = {"records": [{"item": "sugar", "kind": "sugar", "amount": 4.0, "price": 1.5}]}
    gravities = [1.08 - 0.008 * day for day in range(10)] + [1.008] * 4
    readings = [
        {"taken_at": START + timedelta(days=day), "reading": g, "sample_temperature": 20.0}
        for day, g in enumerate(gravities)
    ]
    log = {"batch": {"wash_volume": 20.0, "original_gravity": 1.08, "wash_kind": "sugar"}, "recipe": recipe}
    for days, known in ((3, False), (14, True)):
        values, _ = reckoned({**log, "fermentation": readings[:days]})
        assert np.isfinite(values.get("balance", "in_hand_total"))
        assert np.isfinite(values.get("balance", "lost")[passing.WASH]) == known
        assert np.isfinite(values.get("costs", "cost_per_litre_alcohol")) == known
