"""A rig has one user at a time: the lock names its holder and dies with him, whatever ended him."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from benchtest.errors import RigError, RigInUse
from benchtest.rig.lock import holder_of, lock_folder, lock_path, locks

PORT = "socket://127.0.0.1:65001"
HOLDING = """
import sys
from pathlib import Path
from benchtest.rig.lock import locks
with locks("Bench of another", Path(sys.argv[1])) as held:
    held.take(sys.argv[2])
    print("held", flush=True)
    sys.stdin.read()
"""


@contextmanager
def another(folder: Path, port: str) -> Iterator["subprocess.Popen[str]"]:
    """Give another process that holds a port."""
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDING, str(folder), port], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout is not None
        assert "held" == process.stdout.readline().strip()
        yield process
    finally:
        process.kill()
        process.communicate(timeout=10)


def test_a_held_port_is_refused_with_its_holder(tmp_path: Path) -> None:
    """Process, person, bench, command and since when: enough to go and ask. It is a bench fault, exit code 5."""
    with another(tmp_path, PORT) as holder, locks("Mine", tmp_path) as held, pytest.raises(RigInUse) as refused:
        held.take(PORT)

    said = str(refused.value)
    assert f"process {holder.pid} of " in said
    assert "on bench 'Bench of another'" in said
    assert "another program is using it" in said
    assert (5, True) == (refused.value.exit_code, isinstance(refused.value, RigError))


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_the_lock_dies_with_its_holder(tmp_path: Path, number: signal.Signals) -> None:
    """A killed holder cannot give anything back; the kernel does, and the stale note stops nobody."""
    with another(tmp_path, PORT) as holder:
        assert f"process {holder.pid} of " in holder_of(PORT, tmp_path)
        holder.send_signal(number)
        holder.wait(timeout=10)

        assert "" == holder_of(PORT, tmp_path)
        with locks("Mine", tmp_path) as held:
            held.take(PORT)
            assert f"process {os.getpid()} of " in holder_of(PORT, tmp_path)


def use_and_fail(folder: Path) -> None:
    """Hold two ports and end in an error."""
    with locks("Mine", folder) as held:
        held.take(PORT)
        held.take("COM7")
        raise ZeroDivisionError


def test_a_rig_gives_back_what_it_held(tmp_path: Path) -> None:
    """After an error too: whoever comes next may have both ports."""
    with pytest.raises(ZeroDivisionError):
        use_and_fail(tmp_path)

    with locks("Again", tmp_path) as held:
        held.take(PORT)
        held.take("COM7")


def test_two_adapters_of_one_rig_may_share_a_port(tmp_path: Path) -> None:
    """As behind one gateway; given back once, it is still held."""
    with locks("Mine", tmp_path) as held:
        held.take(PORT)
        held.take(PORT)
        held.give_back(PORT)

        assert f"process {os.getpid()} of " in holder_of(PORT, tmp_path)
        held.give_back(PORT)
        assert "" == holder_of(PORT, tmp_path)


def test_two_names_of_one_device_have_one_lock(tmp_path: Path) -> None:
    """A link to a device, such as those below /dev/serial/by-id, is the device."""
    device, link = tmp_path / "ttyX0", tmp_path / "usb-Example"
    device.touch()
    link.symlink_to(device)

    assert lock_path(str(device), tmp_path) == lock_path(str(link), tmp_path)
    assert lock_path(str(device), tmp_path) != lock_path(str(tmp_path / "ttyX1"), tmp_path)


@pytest.mark.parametrize("note", ["", "{", "[]", '{"pid": 1}', "\x00" * 10_000])
def test_a_spoiled_note_hides_no_lock(tmp_path: Path, note: str) -> None:
    """The note is for people; the lock is the kernel's."""
    with another(tmp_path, PORT):
        lock_path(PORT, tmp_path).with_suffix(".holder").write_text(note, encoding="utf-8")
        with locks("Mine", tmp_path) as held, pytest.raises(RigInUse, match="by whom is not written down"):
            held.take(PORT)


def test_a_folder_that_takes_no_lock_is_a_bench_fault(tmp_path: Path) -> None:
    """Said with the place, as everything that is wrong with the bench."""
    (tmp_path / "file").touch()
    with locks("Mine", tmp_path / "file" / "below") as held, pytest.raises(RigError, match="cannot be locked at"):
        held.take(PORT)


def test_a_note_is_never_written_through_a_link(tmp_path: Path) -> None:
    """In a folder of all users somebody may have put a link where a note will be."""
    target = tmp_path / "precious"
    target.write_text("precious", encoding="utf-8")
    lock_path(PORT, tmp_path).with_suffix(".holder").symlink_to(target)
    with locks("Mine", tmp_path) as held:
        held.take(PORT)

    assert "precious" == target.read_text(encoding="utf-8")


def test_the_note_is_whole_json(tmp_path: Path) -> None:
    """For other tools: who, what, since when."""
    with locks("Mine", tmp_path) as held:
        held.take(PORT)
        note = json.loads(lock_path(PORT, tmp_path).with_suffix(".holder").read_text(encoding="utf-8"))

    assert {"pid", "person", "command", "since", "bench"} == note.keys()
    assert (os.getpid(), "Mine") == (note["pid"], note["bench"])


def test_there_is_a_folder_for_locks() -> None:
    """On this computer, and this user may write there."""
    assert os.access(lock_folder(), os.W_OK)
