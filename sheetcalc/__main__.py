"""`sheetcalc` and `python -m sheetcalc`."""

from sheetcalc import interrupts


def main() -> None:
    """Run the command; from the first line on an interruption ends it in one line, also while it still loads."""
    interrupts.end_at_once()
    from sheetcalc.cli import app

    app(prog_name="sheetcalc")


if __name__ == "__main__":
    main()
