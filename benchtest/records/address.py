"""Where the records are, as a person says it: a file on this computer, a PostgreSQL server, or nowhere."""

from dataclasses import dataclass
from pathlib import Path
from typing import Final, Self

NAME: Final = "records.sqlite"
"""The database of the runs beside it."""
VARIABLE: Final = "BENCHTEST_RECORDS"
NONE: Final = "none"
SERVER: Final = ("postgresql://", "postgresql+psycopg://", "postgres://")


@dataclass(frozen=True, kw_only=True, slots=True)
class Address:
    """Where the records of a bench are."""

    file: Path | None
    """The bench's own database; None where no records are kept."""
    server: str
    """URL of the database that several benches share; empty where there is none."""

    @classmethod
    def nowhere(cls) -> Self:
        """Return the address of records that are not kept."""
        return cls(file=None, server="")

    @classmethod
    def parse(cls, text: str, *, root: Path) -> Self:
        """Return what `text` says: empty for the file beside the runs below `root`, `none`, a path, or a URL.

        Raises ValueError that says what to try.
        """
        words = text.strip()
        if words.casefold() == NONE:
            return cls.nowhere()
        if words.startswith(SERVER):
            return cls(file=root / NAME, server="postgresql+psycopg://" + words.partition("://")[2])
        if "://" in words:
            kind = words.partition("://")[0]
            raise ValueError(f"{kind}:// is not a kind of records (try a path, postgresql://host/name, or 'none')")
        return cls(file=Path(words) if words else root / NAME, server="")
