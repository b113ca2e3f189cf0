"""The captures that lie beside the pages are what the program beside this test makes."""

from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from tests.docs.captures import CAPTURES, MADE_BY

SMALL = 100_000
"""Bytes."""
ALIKE = 3.0
"""Of 255: as much as another version of the encoder may shift the mean of a picture's difference."""


def pictures(film: Path) -> NDArray[np.int16]:
    """Return the pictures of a film in grey."""
    with av.open(str(film)) as container:
        return np.stack([frame.to_ndarray(format="gray") for frame in container.decode(video=0)]).astype(np.int16)


@pytest.mark.parametrize("name", MADE_BY)
def test_a_capture_is_what_its_program_makes(name: str, tmp_path: Path) -> None:
    """Byte for byte; a film picture for picture, since encoders differ."""
    made, kept = tmp_path / name, CAPTURES / name
    MADE_BY[name](made)

    assert kept.stat().st_size < SMALL
    if name.endswith(".mp4"):
        assert np.abs(pictures(made) - pictures(kept)).mean(axis=(1, 2)).max() < ALIKE
    else:
        assert made.read_bytes() == kept.read_bytes()


def test_nothing_else_lies_there() -> None:
    """Each capture has its program."""
    assert sorted(MADE_BY) == sorted(path.name for path in CAPTURES.iterdir())
