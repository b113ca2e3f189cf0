"""`benchtest` and `python -m benchtest`: every way out is a sentence and an exit code, never a traceback."""

import sys

from benchtest.cli import entry


def main() -> None:
    """Run the command line and exit with its code."""
    sys.exit(entry(sys.argv[1:]))


if __name__ == "__main__":
    main()
