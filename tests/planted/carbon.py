"""Two lots through one filter. And what goes wrong there. All invented."""

from datetime import datetime, timedelta
from typing import Any

from logs import Log, Planted, put

POURED = datetime(2026, 3, 18, 19, 0)

CLEAN: Any = [
    {
        "lot": "First",
        "volume_in": 1.4,
        "strength_in": 40.0,
        "carbon_mass": 150.0,
        "freshness": "fresh",
        "started_at": POURED,
        "ended_at": POURED + timedelta(hours=13),
        "volume_out": 1.25,
        "strength_out": 39.8,
    },
    {
        "lot": "second",
        "volume_in": 1.0,
        "strength_in": 40.5,
        "carbon_mass": 150.0,
        "freshness": "used again",
        "started_at": POURED + timedelta(hours=14),
        "ended_at": POURED + timedelta(hours=23),
        "volume_out": 0.98,
        "strength_out": 40.0,
    },
]


def old_carbon(lots: int) -> Any:
    """So many lots more through the same carbon."""

    def spoil(log: Log) -> None:
        for n in range(lots):
            start = POURED + timedelta(days=n + 1)
            more = {"started_at": start, "ended_at": start + timedelta(hours=9)}
            log["carbon"].append(log["carbon"][1] | more)

    return spoil


def in_year(year: int, bottled: bool = True) -> Any:
    """Both dates of the first lot in another year."""

    def spoil(log: Log) -> None:
        for key in ("started_at", "ended_at"):
            log["carbon"][0][key] = log["carbon"][0][key].replace(year=year)
        if not bottled:
            log["bottling"].clear()

    return spoil


# A line each, so that the table can be read down: rule, what is done, key, record.
# fmt: off
PLANTED: list[Planted] = [
    ("misspelled_lot", put("carbon", 1, lot="Secnd"), "lot", 1),
    ("more_than_the_lot", put("carbon", 0, volume_in=1400.0), "volume_in", 0),
    ("not_as_on_strength", put("carbon", 0, strength_in=44.0), "strength_in", 0),
    ("too_strong_to_filter", put("carbon", 0, strength_in=80.0), "strength_in", 0),
    ("unusual_carbon", put("carbon", 0, carbon_mass=0.15), "carbon_mass", 0),
    ("unusual_carbon", put("carbon", 0, carbon_mass=1500.0), "carbon_mass", 0),
    ("renew_carbon", old_carbon(1), "freshness", 2),
    ("spent_carbon", old_carbon(2), "freshness", 3),
    ("ended_before_it_started", put("carbon", 0, ended_at=POURED - timedelta(hours=1)), "ended_at", 0),
    ("date_of_started_at", put("carbon", 0, started_at=POURED.replace(year=2027)), "started_at", 0),
    ("date_of_ended_at", put("carbon", 0, ended_at=datetime(2025, 3, 19, 8)), "ended_at", 0),
    ("before_the_first_run", in_year(2025), "started_at", 0),
    ("after_it_was_bottled", in_year(2027), "started_at", 0),
    ("filtered_a_year_later", in_year(2027, bottled=False), "started_at", 0),
    ("too_fast", put("carbon", 0, ended_at=POURED + timedelta(hours=2)), "ended_at", 0),
    ("too_slow", put("carbon", 0, ended_at=POURED + timedelta(days=4)), "ended_at", 0),
    ("stronger_out", put("carbon", 0, strength_out=43.0), "strength_out", 0),
    ("more_alcohol_out", put("carbon", 0, volume_out=12.5), "volume_out", 0),
    ("more_volume_out", put("carbon", 0, volume_out=1.6, strength_out=33.0), "volume_out", 0),
    ("much_lost", put("carbon", 0, volume_out=0.8), "volume_out", 0),
    ("alcohol_gone", put("carbon", 0, volume_out=1.4, strength_out=31.0), "strength_out", 0),
    ("strength_out_missing", put("carbon", 0, strength_out=None), "strength_out", 0),
    ("unreadable", put("carbon", 0, strength_in="strong"), "strength_in", 0),
    ("carbon_to_take", put("carbon", 0, carbon_mass=None), "carbon_mass", 0),
    ("still_dripping", put("carbon", 0, ended_at=None, volume_out=None, strength_out=None), "ended_at", 0),
    ("not_filled_in", put("carbon", 0, strength_in=None), "strength_in", 0),
]
# fmt: on
