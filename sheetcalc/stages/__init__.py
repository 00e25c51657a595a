"""What a distiller does: a module for each sheet, with its columns and its checks."""

from sheetcalc.stages import batch, cuts, fermentation, instruments, runs, strength

__all__ = ["batch", "cuts", "fermentation", "instruments", "runs", "strength"]
