"""`sheetcalc` and `python -m sheetcalc`."""

from sheetcalc import interrupts


def main() -> None:
    """Run the command; an interruption ends it in one line from here on, also while it still loads."""
    interrupts.end_at_once()
    from sheetcalc.cli import app

    try:
        app(prog_name="sheetcalc")
    finally:
        interrupts.let_end()


if __name__ == "__main__":
    main()
