"""Where the alcohol of a batch's flows went: lost, in hand, or neither; for the sheet Balance.

A step that is measured on both sides (a run, the filter) gives a loss. What was there and has not gone on
(wash not run, low wines, heads and tails, spirit not bottled) is in hand. What is smaller than the measures
can tell, or more than there was, belongs to neither: it is unaccounted for. So, exactly,

    wash = bottled + lost + in hand + unaccounted for

and what is unaccounted for has to lie within the uncertainty of the measures.
"""

from typing import NamedTuple

import numpy as np

from sheetcalc.liquids import Array
from sheetcalc.stages.flows import (
    BOTTLED,
    BROUGHT,
    CHARGED,
    CHARGED_AGAIN,
    COLLECTED,
    COLLECTED_AGAIN,
    FILTERED,
    NAN,
    NOTHING,
    STAGES,
    WASH,
    Flows,
    is_known,
    margin_of,
)
from sheetcalc.stages.samples import STAYS_BEHIND


class Account(NamedTuple):
    """Lost before each stage, in hand at it, and what there was for it to take from: pure alcohol, L.

    `unaccounted` is the sum of what belongs to neither (L, below 0 where more was found than there was).
    """

    lost: Array
    in_hand: Array
    available: Array
    unaccounted: float


def account(flows: Flows, working: bool = False) -> Account:
    """Where the alcohol of the flows went; see the head of this module. NaN where nothing is to tell.

    working: whether the wash still ferments, so that what is missing in it is sugar, not lost.
    """
    books = _Books()
    if not working:
        _fermented(books, flows)
    _first_runs(books, flows)
    low_wines, spirit = _second_runs(books, flows)
    _finished(books, flows, low_wines, spirit)
    return Account(books.lost, books.in_hand, books.available, books.unaccounted)


class _Books:
    """The account while it is made up."""

    def __init__(self) -> None:
        self.lost, self.in_hand, self.available = (np.full(len(STAGES), NAN) for _ in range(3))
        self.unaccounted = 0.0

    def lose(self, stage: int, before: float, now: float) -> None:
        """Less than before is lost on the way; more than before can't be told from where."""
        if is_known(before) and is_known(now):
            self.lost[stage] = np.nansum([self.lost[stage], max(before - now, 0.0)])
            self.unaccounted += min(before - now, 0.0)

    def settle(self, rest: float, margin: float) -> float:
        """What of a rest is in hand: all of it, if it is more than the measures can be off."""
        if rest > margin:
            return rest
        self.unaccounted += rest
        return 0.0


def _fermented(books: _Books, flows: Flows) -> None:
    """From the recipe to the wash. What did not ferment was never alcohol and is no part of the sum."""
    short = flows.recipe.alcohol - flows.wash.alcohol
    books.lost[WASH] = short if short > 0 else NAN


def _first_runs(books: _Books, flows: Flows) -> None:
    """From the wash to what its runs gave."""
    wash, charged, collected = flows.wash, flows.charged, flows.collected
    books.available[COLLECTED] = charged.alcohol
    if is_known(charged.alcohol) and is_known(wash.alcohol):
        left = wash.alcohol - charged.alcohol
        if left > max(STAYS_BEHIND * wash.alcohol, margin_of(wash, charged)):
            books.in_hand[WASH] = left
        else:
            books.lose(CHARGED, wash.alcohol, charged.alcohol)
    before = charged.alcohol if is_known(charged.alcohol) else wash.alcohol
    books.lose(COLLECTED, before, collected.alcohol)


def _second_runs(books: _Books, flows: Flows) -> tuple[float, float]:
    """From the first runs to the second ones: the low wines left, and all the spirit there is then.

    Where what was charged again is not known, it counts as all of the low wines, or else as all there was.
    """
    first, again, second = flows.collected, flows.charged_again, flows.collected_again
    if not is_known(second.alcohol):
        return 0.0, first.alcohol
    low_wines = flows.low_wines.alcohol if is_known(flows.low_wines.alcohol) else 0.0
    there = first.alcohol
    if not is_known(there):
        books.lose(CHARGED_AGAIN, flows.wash.alcohol, again.alcohol)
        there = again.alcohol
    before = (again.alcohol, low_wines or NAN, there, flows.wash.alcohol)
    taken = next((alcohol for alcohol in before if is_known(alcohol)), NAN)
    books.available[CHARGED_AGAIN] = first.alcohol
    books.available[COLLECTED_AGAIN] = again.alcohol
    rest = books.settle(there - taken, margin_of(first, again)) if is_known(there - taken) else 0.0
    books.lose(COLLECTED_AGAIN, taken, second.alcohol)
    return min(rest, max(low_wines - taken, 0.0)), rest + second.alcohol


def _finished(books: _Books, flows: Flows, low_wines: float, spirit: float) -> None:
    """From the spirit of the runs to the bottles."""
    brought, into, out, bottled = flows.brought, flows.into_filter, flows.filtered, flows.bottled
    entered = ((BROUGHT, brought), (FILTERED, into), (BOTTLED, bottled))
    stage, used = next(((s, flow) for s, flow in entered if is_known(flow.alcohol)), (BOTTLED, NOTHING))
    last_run = COLLECTED_AGAIN if is_known(flows.collected_again.alcohol) else COLLECTED
    if not is_known(used.alcohol):
        _put_aside(books, flows, last_run, low_wines, spirit)
        return
    books.lose(FILTERED, into.alcohol, out.alcohol)
    filter_loss = into.alcohol - out.alcohol if is_known(out.alcohol) else 0.0
    books.available[[BROUGHT, FILTERED]] = there = spirit if is_known(spirit) else flows.wash.alcohol
    # What an earlier stage held was there, even if it was more than the runs gave: that was told there.
    books.available[BOTTLED] = np.fmax(there, np.fmax(brought.alcohol, into.alcohol)) - filter_loss
    if not is_known(spirit):
        books.lose(stage, flows.wash.alcohol, used.alcohol)
        spirit = used.alcohol
    unused = spirit - used.alcohol
    ready = used.alcohol - filter_loss - (bottled.alcohol if is_known(bottled.alcohol) else 0.0)
    # Where more was bottled than went through this stage, the rest went straight from the runs.
    past = min(max(-ready, 0.0), max(unused, 0.0))
    ready, unused = ready + past, unused - past
    at_runs = flows.collected_again if last_run == COLLECTED_AGAIN else flows.collected
    unused = books.settle(unused, margin_of(at_runs, used))
    kept = min(unused, low_wines)
    _put_aside(books, flows, last_run, kept, unused)
    filtered = _left_of_filtered(flows, ready)
    by_bottles = is_known(bottled.alcohol)
    _hand(books, FILTERED, books.settle(filtered, margin_of(out, flows.from_filter) if by_bottles else 0.0))
    _hand(books, BROUGHT, books.settle(ready - filtered, margin_of(used, bottled) if by_bottles else 0.0))


def _left_of_filtered(flows: Flows, ready: float) -> float:
    """What of the spirit that is ready was filtered and is not bottled (L of pure alcohol).

    Where the bottles don't tell their lot, they were filled from what was filtered.
    """
    out, bottled, of_it = (flow.alcohol for flow in (flows.filtered, flows.bottled, flows.from_filter))
    if not is_known(out):
        return 0.0
    gone = of_it if is_known(of_it) else bottled if is_known(bottled) else 0.0
    return max(min(out - gone, ready), 0.0)


def _put_aside(books: _Books, flows: Flows, last_run: int, low_wines: float, spirit: float) -> None:
    """Low wines, and spirit of the last runs, that have not gone on; or else the wash that was never run."""
    if is_known(spirit):
        _hand(books, COLLECTED, low_wines if last_run == COLLECTED_AGAIN else spirit)
        _hand(books, COLLECTED_AGAIN, spirit - low_wines if last_run == COLLECTED_AGAIN else 0.0)
    else:
        _hand(books, WASH, flows.wash.alcohol)


def _hand(books: _Books, stage: int, alcohol: float) -> None:
    if alcohol > 0:
        books.in_hand[stage] = alcohol
