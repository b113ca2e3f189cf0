"""What all fuzzed parsers share: bytes in, accepted or refused out, and a word for what must not happen."""

from collections.abc import Sequence
from typing import Protocol

from tests.reliability.mutations import Sample


class Misread(Exception):
    """Bytes were taken for what they are not: another's answer, a value that is not there, an order nobody gave."""


class Parser(Protocol):
    """One parser, with what it hears on a good day."""

    name: str
    corpus: Sequence[Sample]

    def take(self, sample: Sample) -> bool:
        """Return whether the bytes were accepted; False when refused as our own error.

        Raises Misread when they were taken for what they are not. Whatever else is raised has escaped.
        """
        ...
