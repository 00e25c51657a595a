"""What a distiller does: a module for each sheet, with its columns and its checks."""

from sheetcalc.stages import (
    balance,
    batch,
    blend,
    boiling,
    bottling,
    carbon,
    clearing,
    costs,
    cuts,
    fermentation,
    instruments,
    recipe,
    runs,
    strength,
    tasting,
    triangle,
)

__all__ = [
    "balance",
    "batch",
    "blend",
    "boiling",
    "bottling",
    "carbon",
    "clearing",
    "costs",
    "cuts",
    "fermentation",
    "instruments",
    "recipe",
    "runs",
    "strength",
    "tasting",
    "triangle",
]
