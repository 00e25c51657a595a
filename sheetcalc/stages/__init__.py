"""What a distiller does: a module for each sheet, with its columns and its checks."""

from sheetcalc.stages import (
    batch,
    carbon,
    clearing,
    cuts,
    fermentation,
    instruments,
    runs,
    strength,
)

__all__ = [
    "batch",
    "carbon",
    "clearing",
    "cuts",
    "fermentation",
    "instruments",
    "runs",
    "strength",
]
