"""A signal database by itself, without a profile."""

from pathlib import Path

import pytest

from benchtest.errors import DocumentError
from benchtest.profile.signal_database import load_database

PROFILES = Path(__file__).parent.parent.parent / "profiles"


def test_a_database_alone_is_loaded() -> None:
    """The greenhouse board's database has its messages."""
    messages = {message.name for message in load_database(PROFILES / "greenhouse.dbc").messages}
    assert {"ControllerHeartbeat", "ZoneCommand", "ZoneHeartbeat", "ZoneStatus"} <= messages


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"\xff\xfe garbage", "is not a readable DBC file"),
        (b'VERSION ""\nBO_ 1 A: 99 B\n', "a message of 99 bytes, a frame has at most 64"),
        (b'VERSION ""\nBO_ 1 A: 1 B\n SG_ x : 0|9@1+ (1,0) [0|0] "" B\n', "is not a readable DBC file"),
    ],
)
def test_what_is_no_database_is_told_in_a_sentence(tmp_path: Path, content: bytes, said: str) -> None:
    """Foreign bytes, sizes that no frame has, signals beyond their message: file and reason."""
    path = tmp_path / "tank.dbc"
    path.write_bytes(content)
    with pytest.raises(DocumentError, match=said) as caught:
        load_database(path)
    assert path == caught.value.problems[0].file


def test_a_database_that_is_not_there_is_told(tmp_path: Path) -> None:
    """A missing file is a problem of that file."""
    with pytest.raises(DocumentError, match=r"none\.dbc"):
        load_database(tmp_path / "none.dbc")
