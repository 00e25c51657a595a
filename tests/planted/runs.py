"""Two stripping runs. And what goes wrong there. All invented."""

from datetime import datetime, timedelta
from typing import Any

from logs import RUN, Log, Planted, put

CLEAN: Any = [
    {
        "run": str(number + 1),
        "kind": "stripping",
        "charge_volume": 8.0,
        "charge_strength": 12.0,
        "filled_at": RUN + timedelta(hours=3 * number),
        "first_drip_at": RUN + timedelta(hours=3 * number, minutes=38),
        "stopped_at": RUN + timedelta(hours=3 * number + 1, minutes=45),
        "collected_volume": 1900.0,
        "collected_reading": 45.0,
        "collected_temperature": 22.0,
    }
    for number in range(2)
]


def third_charge(log: Log) -> None:
    log["runs"] += [dict(log["runs"][0], run=str(n)) for n in (3, 4)]


def nothing_known_of_the_charge(log: Log) -> None:
    log["fermentation"].clear()
    log["runs"][1]["charge_strength"] = None


def before_the_yeast(log: Log) -> None:
    for key in ("filled_at", "first_drip_at", "stopped_at"):
        log["runs"][0][key] -= timedelta(days=365)


def a_year_later(record: int, kind: str) -> Any:
    def spoil(log: Log) -> None:
        del log["carbon"], log["bottling"]
        run = log["runs"][record]
        run["kind"] = kind
        for key in ("filled_at", "first_drip_at", "stopped_at"):
            run[key] = run[key].replace(year=2027)

    return spoil


def still_at_the_runs(log: Log) -> None:
    for sheet in ("strength", "blend", "carbon", "bottling"):
        log[sheet].clear()


def the_wash_is_run(kind: str) -> Any:
    """A third charge: 24 L of the 23.6 that were racked."""

    def spoil(log: Log) -> None:
        still_at_the_runs(log)
        third = dict(log["runs"][1], run="3")
        for key in ("filled_at", "first_drip_at", "stopped_at"):
            third[key] += timedelta(hours=3)
        log["runs"].append(third)
        for run in log["runs"]:
            run["kind"] = kind

    return spoil


# A line each, so that the table can be read down: rule, what is done, key, record.
# fmt: off
# ruff: noqa: E501
PLANTED: list[Planted] = [
    ("charge_strength_taken", put("runs", 1, charge_strength=None), "charge_strength", 1),
    ("charge_strength_missing", nothing_known_of_the_charge, "charge_strength", 1),
    ("spirit_strength_missing", put("runs", 1, kind="spirit", charge_strength=None), "charge_strength", 1),
    ("temperature_missing", put("runs", 1, collected_temperature=None), "collected_temperature", 1),
    ("catches_fire", put("runs", 1, collected_volume=900.0, collected_reading=66.0), "collected_volume", 1),
    ("over_full", put("runs", 0, charge_volume=80.0), "charge_volume", 0),
    ("little_room_for_foam", put("runs", 0, charge_volume=9.4), "charge_volume", 0),
    ("dry_pot", put("runs", 0, charge_volume=3.5), "charge_volume", 0),
    ("more_charged_than_wash", third_charge, "charge_volume", 3),
    ("stronger_than_the_wash", put("runs", 0, charge_strength=24.0), "charge_strength", 0),
    ("no_spirit_yet", put("runs", 0, kind="spirit"), "kind", 0),
    ("no_spirit_yet", put("runs", 1, kind="spirit", charge_strength=None), "kind", 1),
    ("not_as_fermented", put("runs", 0, charge_strength=9.0), "charge_strength", 0),
    ("charge_too_strong", put("runs", 0, kind="spirit", charge_strength=55.0), "charge_strength", 0),
    ("more_volume_out", put("runs", 0, collected_volume=19000.0), "collected_volume", 0),
    ("very_little_collected", put("runs", 0, collected_volume=190.0), "collected_volume", 0),
    ("very_little_collected", put("runs", 0, collected_volume=1.9, collected_reading=None), "collected_volume", 0),
    ("very_little_collected", put("runs", 0, collected_volume=1.9), "collected_volume", 0),
    ("above_azeotrope", put("runs", 0, collected_reading=104.0), "collected_reading", 0),
    ("more_alcohol_out", put("runs", 0, collected_reading=90.0), "collected_reading", 0),
    ("weaker_than_a_plain_pot", put("runs", 0, collected_reading=20.0), "collected_reading", 0),
    ("stronger_than_the_still", put("runs", 0, collected_volume=700.0, collected_reading=93.0), "collected_reading", 0),
    ("exchanged_with_strength", put("runs", 0, collected_reading=22.0, collected_temperature=45.5), "collected_temperature", 0),
    ("fahrenheit_sample", put("runs", 0, collected_temperature=71.0), "collected_temperature", 0),
    ("celsius_sample", put("runs", 0, collected_temperature="22 °F"), "collected_temperature", 0),
    ("drip_before_heat", put("runs", 0, first_drip_at=RUN - timedelta(hours=1)), "first_drip_at", 0),
    ("drip_too_soon", put("runs", 0, first_drip_at=RUN + timedelta(minutes=6)), "first_drip_at", 0),
    ("stopped_before_it_began", put("runs", 0, stopped_at=RUN), "stopped_at", 0),
    ("year_of_filled_at", put("runs", 0, filled_at=datetime(2025, 3, 16, 9)), "filled_at", 0),
    ("year_of_first_drip_at", put("runs", 0, first_drip_at=datetime(2027, 3, 16, 9, 38)), "first_drip_at", 0),
    ("year_of_stopped_at", put("runs", 0, stopped_at=datetime(2027, 3, 16, 10, 45)), "stopped_at", 0),
    ("run_a_year_late", a_year_later(1, "stripping"), "filled_at", 1),
    ("spirit_run_a_year_late", a_year_later(1, "spirit"), "filled_at", 1),
    ("very_long_run", put("runs", 0, stopped_at=RUN + timedelta(days=1)), "stopped_at", 0),
    ("date_in_doubt", put("runs", 0, filled_at="3/4/2026"), "filled_at", 0),
    ("run_before_the_yeast", before_the_yeast, "filled_at", 0),
    ("run_before_the_end", put("runs", 0, filled_at=datetime(2026, 3, 6, 9)), "filled_at", 0),
    ("wash_to_charge", still_at_the_runs, "charge_volume", 1),
    ("low_wines_to_run", the_wash_is_run("stripping"), "collected_volume", 2),
    ("cuts_to_choose", the_wash_is_run("single"), "collected_volume", 2),
    ("two_runs_at_once", put("runs", 1, filled_at=RUN + timedelta(minutes=30)), "filled_at", 1),
]
# fmt: on
