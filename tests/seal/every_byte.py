"""Every byte of a sealed JSON file changed, one at a time: `python -m tests.seal.every_byte FILE STATIONS [FLIP ...]`.

A command of its own, for papers as large as they come from a bench; the tests do the same with a small one.
"""

import sys
from pathlib import Path

from benchtest.seal import State, examine_json, read_stations


def main(file: Path, listed: Path, flips: list[int]) -> int:
    """Say how many changes there were, and each that did not count as altered."""
    content, stations = file.read_bytes(), read_stations(listed)
    state = examine_json(content, stations).state
    unnoticed = 0
    for place in range(len(content)):
        for flip in flips:
            changed = bytearray(content)
            changed[place] ^= flip
            found = examine_json(bytes(changed), stations).state
            if found is not State.ALTERED:
                unnoticed += 1
                sys.stdout.write(f"byte {place + 1} ^ 0x{flip:02x}: {found}\n")
    sys.stdout.write(f"{state} as it is; {len(content) * len(flips)} changes, {unnoticed} not called altered\n")
    return 1 if unnoticed or state is not State.GENUINE else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), Path(sys.argv[2]), [int(flip, 0) for flip in sys.argv[3:]] or [1]))
