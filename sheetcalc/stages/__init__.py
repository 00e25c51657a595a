"""What a distiller does: a module for each sheet, with its columns and its checks."""

from sheetcalc.stages import (
    batch,
    blend,
    boiling,
    carbon,
    clearing,
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
    "batch",
    "blend",
    "boiling",
    "carbon",
    "clearing",
    "cuts",
    "fermentation",
    "instruments",
    "recipe",
    "runs",
    "strength",
    "tasting",
    "triangle",
]
