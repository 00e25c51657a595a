"""Lets real processes fill one workbook at once, round after round; run by test_faults.py.

Usage: python races.py WORKBOOK FOLDER ROUNDS FILLS

Prints a line of JSON for each round: what each fill was told ('' where nothing was), the hash of the workbook
and the names in the folder afterwards.
"""

import hashlib
import json
import os
import shutil
import sys
from pathlib import Path

from sheetcalc.filling import fill
from sheetcalc.many import each


def race(path: Path, fills: int) -> list[str]:
    """Let so many processes fill the workbook from the same moment on; what each was told."""
    gate, start = os.pipe()
    answers = []
    for _ in range(fills):
        reading, writing = os.pipe()
        if os.fork() == 0:
            os.close(start)
            os.read(gate, 1)  # ends when everybody has closed the other side
            (outcome,) = each([(path,)], fill)
            os.write(writing, outcome.trouble.encode())
            os._exit(0)
        os.close(writing)
        answers.append(reading)
    os.close(start)
    os.close(gate)
    told = []
    for reading in answers:
        with os.fdopen(reading, "rb") as answer:
            told.append(answer.read().decode())
    for _ in range(fills):
        os.wait()
    return told


def main(source: Path, folder: Path, rounds: int, fills: int) -> None:
    """Race on a fresh copy each time."""
    path = folder / source.name
    warm = folder / f"warm{source.suffix}"
    shutil.copyfile(source, warm)
    fill(warm)
    warm.unlink()
    for _ in range(rounds):
        shutil.copyfile(source, path)
        told = race(path, fills)
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        names = [p.name for p in folder.iterdir()]
        print(json.dumps({"told": told, "held": digest, "names": names}), flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]))
