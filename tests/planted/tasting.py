"""Three lots rated by six tasters. And what goes wrong there. All invented."""

from typing import Any

from logs import Log, Planted, put

# Aroma, taste, smoothness of the lots A, B and C by each taster.
RATED = {
    "Ada": ((6, 7, 6), (5, 5, 6), (4, 5, 4)),
    "Bo": ((8, 7, 8), (7, 7, 6), (7, 6, 6)),
    "Cy": ((5, 6, 6), (6, 6, 7), (4, 3, 4)),
    "Di": ((7, 7, 8), (6, 5, 6), (5, 5, 5)),
    "Ed": ((6, 6, 7), (6, 6, 6), (5, 4, 5)),
    "Flo": ((9, 8, 8), (7, 8, 7), (8, 7, 7)),
}

CLEAN: Any = [
    {"sample": lot, "taster": taster, "aroma": aroma, "taste": taste, "smoothness": smoothness}
    for taster, given in RATED.items()
    for lot, (aroma, taste, smoothness) in zip("ABC", given, strict=True)
]


def misspelled(key: str, name: str) -> Any:
    """One name longer, as on most lines, and in its first line with a letter less."""

    def spoil(log: Log) -> None:
        first = log["tasting"][0][key]
        for line in log["tasting"]:
            line[key] = name if line[key] == first else line[key]
        log["tasting"][0][key] = name[:2] + name[3:]

    return spoil


def two_tasters(log: Log) -> None:
    del log["tasting"][6:]


def one_against_all(log: Log) -> None:
    """Five tasters rate six lots alike; the sixth takes 1 for the best."""
    rated = {name: range(2, 8) for name in ("Ada", "Bo", "Cy", "Di", "Ed")} | {"Flo": range(7, 1, -1)}
    log["tasting"] = [
        {"sample": lot, "taster": name, "taste": taste}
        for name, given in rated.items()
        for lot, taste in zip("ABCDEF", given, strict=True)
    ]


# A line each, so that the table can be read down: rule, what is done, key, record.
# fmt: off
PLANTED: list[Planted] = [
    ("aroma_off_scale", put("tasting", 4, aroma=70.0), "aroma", 4),
    ("taste_off_scale", put("tasting", 4, taste=10.0), "taste", 4),
    ("smoothness_off_scale", put("tasting", 4, smoothness=0.0), "smoothness", 4),
    ("taster_misspelled", misspelled("taster", "Flora"), "taster", 0),
    ("sample_misspelled", misspelled("sample", "Hearts"), "sample", 0),
    ("rated_twice", put("tasting", 1, sample="a "), "taster", 1),
    ("incomplete_block", put("tasting", 4, taste=None), "taster", 3),
    ("incomplete_block", put("tasting", 4, sample="D"), "taster", 0),
    ("too_few_tasters", two_tasters, "taster", 0),
    ("against_the_others", one_against_all, "taster", 30),
    ("not_filled_in", put("tasting", 4, taster=None), "taster", 4),
]
# fmt: on
