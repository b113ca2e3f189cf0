"""`benchtest` and `python -m benchtest`: every way out is a sentence and an exit code, never a traceback."""

import gc
import sys

from benchtest.cli import entry

FEWER_COLLECTIONS = 50_000  # new objects between two; a short process makes many that live as long as itself


def main() -> None:
    """Run the command line and exit with its code."""
    gc.set_threshold(FEWER_COLLECTIONS)
    code = entry(sys.argv[1:])
    gc.freeze()  # nothing that is left needs collecting on the way out
    sys.exit(code)


if __name__ == "__main__":
    main()
