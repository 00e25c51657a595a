"""Nothing is typed for the costs of the clean log. And what is said when prices are missing. All invented."""

from typing import Any

from logs import Log, Planted

CLEAN: Any = {}


def one_price(log: Log) -> None:
    """The price of energy alone is known."""
    log.pop("recipe", None)
    log["batch"].update(energy_price=0.3, bottle_price=None)


# A line each, so that the table can be read down: rule, what is done, key, record.
# fmt: off
PLANTED: list[Planted] = [
    ("price_missing", one_price, "cost", 0),
    ("price_missing", one_price, "cost", 2),
]
# fmt: on
