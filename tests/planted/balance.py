"""The balance is all computed. What goes wrong on other sheets that only shows here. All invented."""

from datetime import timedelta
from typing import Any

from logs import RUN, Log, Planted, put

CLEAN: Any = {}


def feints_put_in(log: Log) -> None:
    """A spirit run of more alcohol than the stripping runs gave."""
    log["runs"].append(
        {
            "run": "3",
            "kind": "spirit",
            "charge_volume": 7.0,
            "charge_strength": 38.0,
            "filled_at": RUN + timedelta(days=1),
            "collected_volume": 2600.0,
            "collected_reading": 75.0,
            "collected_temperature": 20.0,
        }
    )


def spirit_of_last_year(log: Log) -> None:
    """Poured in with a lot of this batch, under a name that stands on no other sheet."""
    log["blend"][1]["part"] = "OLD-12"
    log["bottling"][1]["lot"] = "house"


def more_bottled_than_hearts(log: Log) -> None:
    """One run, all its jars tasted; in the bottles is about what all of them hold."""
    del log["runs"][1], log["strength"], log["carbon"]
    log["blend"], log["bottling"] = [], [log["bottling"][0] | {"bottles": 5, "lot": None}]


# A line each, so that the table can be read down: rule, what is done, key, record.
# fmt: off
PLANTED: list[Planted] = [
    ("more_than_before", put("strength", 0, volume=2.5), "alcohol", 6),
    ("more_than_kept", more_bottled_than_hearts, "alcohol", 8),
    ("other_batches", spirit_of_last_year, "from_elsewhere", 8),
    ("more_charged_again", feints_put_in, "alcohol", 4),
]
# fmt: on
