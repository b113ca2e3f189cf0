"""What every codec can do: names and signals in, bytes out, and back."""

from collections.abc import Mapping
from typing import Protocol


class Codec(Protocol):
    """Messages of one link."""

    where: str
    """Where its messages are described, for a sentence: `the signal database`."""

    def identifier(self, message: str) -> int:
        """Return the identifier that goes beside a message's bytes; KeyError when there is no such message."""
        ...

    def signals(self, message: str) -> Mapping[str, str]:
        """Return the signals of a message and their units; KeyError when there is no such message."""
        ...

    def encode(self, message: str, values: Mapping[str, float], *, clip: bool = False) -> bytes:
        """Return the bytes of a message; signals that are not given are 0.

        Raises ValueError when a signal cannot carry its value, KeyError when there is no such message. With `clip` a
        value beyond a signal's range becomes the end of the range.
        """
        ...

    def decode(self, identifier: int, data: bytes) -> tuple[str, Mapping[str, float]]:
        """Return a message's name and signals; an empty name when the bytes are none that is known."""
        ...

    def written(self, identifier: int, data: bytes) -> str:
        """Return identifier and bytes as a person reads them, hexadecimal."""
        ...
