"""The published tables in `values/`, read as they stand there.

GUM H.1 to H.5: public copies (metRology and propagate for R, GTC's documentation, an uncertainty calculator of a
national laboratory). Table G.2: computed with SciPy and mpmath, eleven entries seen in a public copy. NIST StRD:
headers and data of a public copy of the .dat files. Conformity: JCGM 106:2012 and ILAC-G8:09/2019, inputs from memory.
"""

import csv
from pathlib import Path

VALUES = Path(__file__).parent / "values"


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a table by the names of its columns."""
    with (VALUES / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def column(name: str, title: str) -> list[float]:
    """Return one column of a table as numbers."""
    return [float(row[title]) for row in rows(name)]
