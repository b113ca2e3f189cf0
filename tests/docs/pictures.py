"""The picture in the README: first page of a certificate of the simulated greenhouse board.

    python -m tests.docs.pictures

writes `docs/pictures/certificate.png`. Number, dates and key are those of the moment.
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Final

from tests.docs.keys import DOCS

PICTURE: Final = DOCS / "pictures" / "certificate.png"
DOTS: Final = 90
"""An inch."""
RUN: Final = (
    *("run", "profiles/greenhouse.yaml", "--fixture", "fixtures/simulated.yaml", "--variant", "two-bay"),
    *("--option", "dosing", "--serial", "DEMO-1", "--technician", "A. Tester"),
)


def make(picture: Path) -> None:
    """Put a board on the simulated bench and take a picture of the first page of its certificate."""
    with tempfile.TemporaryDirectory() as folder:
        own = {"BENCHTEST_STATION": f"{folder}/station", "BENCHTEST_RECORDS": "none"}
        command = [sys.executable, "-m", "benchtest", *RUN, "--runs", f"{folder}/runs"]
        quiet = subprocess.DEVNULL
        subprocess.run(command, cwd=DOCS.parent, env={**os.environ, **own}, check=True, stdout=quiet, stderr=quiet)
        (paper,) = Path(folder, "runs").glob("*/certificate.pdf")
        one_page = ["pdftoppm", "-png", "-r", str(DOTS), "-f", "1", "-singlefile"]
        subprocess.run([*one_page, str(paper), str(picture.with_suffix(""))], check=True)


if __name__ == "__main__":
    make(PICTURE)
