"""A two-part fining of the clean log's wash, and its racking. And what goes wrong there. All invented."""

from datetime import datetime, timedelta
from typing import Any

from logs import RUN, Log, Planted, put

FINED = datetime(2026, 3, 13, 20, 0)  # two hours after the last reading

CLEAN: Any = [
    {"step": "degassing", "done_at": FINED - timedelta(minutes=30)},
    {"step": "first fining", "done_at": FINED, "agent": "silica sol", "dose": 50.0},
    {"step": "second fining", "done_at": FINED + timedelta(hours=1), "agent": "chitosan", "dose": 60.0},
    {"step": "looking", "done_at": FINED + timedelta(hours=20), "note": "bright, lees 3 cm"},
    {"step": "racking", "done_at": FINED + timedelta(hours=25), "volume_after": 23.6},
]


def exchanged_agents(log: Log) -> None:
    log["clearing"][1].update(agent="chitosan", dose=60.0)
    log["clearing"][2].update(agent="silica sol", dose=50.0)


def never_degassed(log: Log) -> None:
    del log["clearing"][0]


def no_first_part(log: Log) -> None:
    del log["clearing"][1]


def bentonite(log: Log) -> None:
    log["runs"].clear()
    log["clearing"][2] = {"step": "first fining", "done_at": FINED, "agent": "bentonite", "dose_mass": 25.0}
    del log["clearing"][3:], log["clearing"][1]


def bentonite_by(**values: Any) -> Any:
    """A fining with powder instead, with other values in it."""

    def spoil(log: Log) -> None:
        bentonite(log)
        log["clearing"][1].update(values)

    return spoil


def days_earlier(days: float) -> Any:
    """Everything was done so much earlier."""

    def spoil(log: Log) -> None:
        for record in log["clearing"]:
            record["done_at"] -= timedelta(days=days)

    return spoil


def racked_after_the_runs(log: Log) -> None:
    """All but the lees of a smaller wash is run by then."""
    log["batch"]["wash_volume"] = 18.0
    log["clearing"][4].update(done_at=RUN + timedelta(days=5), volume_after=17.0)


def readings_end_early(log: Log) -> None:
    del log["fermentation"][10:]


def not_run_yet(log: Log) -> None:
    log["runs"].clear()


def racked_later(log: Log) -> None:
    log["runs"][0]["filled_at"] = FINED + timedelta(hours=5)
    del log["clearing"][3:]


# A line each, so that the table can be read down: rule, what is done, key, record.
# fmt: off
# ruff: noqa: E501
PLANTED: list[Planted] = [
    ("cleared_after_the_run", racked_after_the_runs, "done_at", 4),
    ("impossible_dose", put("clearing", 1, dose=50000.0), "dose", 1),
    ("unusual_dose", put("clearing", 1, dose=500.0), "dose", 1),
    ("unusual_dose", put("clearing", 2, dose=0.06), "dose", 2),
    ("impossible_weighed_dose", bentonite_by(dose_mass=25000.0), "dose_mass", 1),
    ("unusual_weighed_dose", bentonite_by(dose_mass=250.0), "dose_mass", 1),
    ("dose_missing", put("clearing", 1, dose=None), "dose", 1),
    ("weighed_dose_missing", bentonite_by(dose_mass=None), "dose_mass", 1),
    ("agent_missing", put("clearing", 1, agent=None), "agent", 1),
    ("chitosan_before_silica_sol", exchanged_agents, "agent", 1),
    ("second_fining_first", no_first_part, "step", 1),
    ("second_part_too_soon", put("clearing", 2, done_at=FINED + timedelta(minutes=10)), "done_at", 2),
    ("fined_before_degassing", put("clearing", 0, done_at=FINED + timedelta(hours=2)), "step", 1),
    ("not_degassed", never_degassed, "step", 0),
    ("still_fermenting", days_earlier(6), "done_at", 1),
    ("hardly_at_rest", readings_end_early, "done_at", 1),
    ("racked_too_soon", put("clearing", 3, step="filtering", done_at=FINED + timedelta(hours=3)), "done_at", 3),
    ("run_too_soon", racked_later, "done_at", 2),
    ("odd_date", put("clearing", 2, done_at=datetime(2026, 6, 13, 21, 0)), "done_at", 2),
    ("before_the_yeast", days_earlier(20), "done_at", 0),
    ("more_than_before", put("clearing", 4, volume_after=236.0), "volume_after", 4),
    ("much_lost", put("clearing", 4, volume_after=13.6), "volume_after", 4),
    ("due_next", not_run_yet, "done_at", 4),
    ("not_filled_in", put("clearing", 4, step=None), "step", 4),
    ("unreadable", put("clearing", 1, agent="egg"), "agent", 1),
]
# fmt: on
