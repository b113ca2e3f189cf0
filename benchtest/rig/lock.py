"""One rig, one user: a kernel lock for every port, on a local disk, held from before the first is opened to the end.

The lock belongs to the port and not to a fixture's name, since two fixtures may describe one adapter. It dies with the
process that holds it, whatever ended it; a note beside it says who that is, for people, and decides nothing. The locks
of all users lie in one folder where the system has one (`/run/lock`, Filesystem Hierarchy Standard 3.0, from memory),
else in the user's own.
"""

import getpass
import hashlib
import json
import os
import re
import shlex
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Final

from benchtest.clock import wall_time
from benchtest.errors import RigError, RigInUse

if TYPE_CHECKING:  # loaded when a port is locked: a refused document and a simulated bench do not wait for them
    from filelock import FileLock

LONGEST_NOTE: Final = 4096
"""Bytes of a holder's note that are read."""
_NO_LINKS: Final = getattr(os, "O_NOFOLLOW", 0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Holder:
    """Who holds a port."""

    pid: int
    person: str
    """Login name."""
    command: str
    since: str
    """RFC 3339 with offset."""
    bench: str

    def __str__(self) -> str:
        return f"process {self.pid} of {self.person} since {self.since} on bench {self.bench!r}: {self.command}"


class Locks:
    """The ports that this rig holds."""

    def __init__(self, folder: Path, holder: Holder) -> None:
        self._folder = folder
        self._holder = holder
        self._held: dict[Path, FileLock] = {}
        self._times: Counter[Path] = Counter()

    def take(self, port: str) -> None:
        """Hold a port. Raises RigInUse with the holder's name when somebody else does."""
        path = lock_path(port, self._folder)
        self._times[path] += 1
        if path in self._held:  # two adapters of this rig behind one gateway
            return
        lock = _lock(path)
        try:
            lock.acquire(timeout=0)
        except TimeoutError:
            raise RigInUse(f"{port}: another program is using it: {_who(path)} (let it end first)") from None
        except OSError as problem:
            raise RigError(f"{port}: cannot be locked at {path}: {problem.strerror or problem}") from problem
        self._held[path] = lock
        _write_note(path, json.dumps(asdict(self._holder)))

    def give_back(self, port: str) -> None:
        """Hold a port once less; not at all when it was taken once."""
        path = lock_path(port, self._folder)
        self._times[path] -= 1
        if self._times[path] <= 0:
            self._release(path)

    def give_all_back(self) -> None:
        """Hold nothing any more."""
        for path in reversed(list(self._held)):
            self._release(path)

    def _release(self, path: Path) -> None:
        lock = self._held.pop(path)
        _write_note(path, "")
        lock.release()


@contextmanager
def locks(bench: str, folder: Path | None = None) -> Iterator[Locks]:
    """Give what takes locks for a bench of this name; all of them are given back at the end."""
    holder = Holder(
        pid=os.getpid(),
        person=_login(),
        command=shlex.join([Path(sys.argv[0]).name, *sys.argv[1:]])[:400],
        since=wall_time().isoformat(timespec="seconds"),
        bench=bench,
    )
    held = Locks(folder or lock_folder(), holder)
    try:
        yield held
    finally:
        held.give_all_back()


@contextmanager
def in_turn(bench: str, folder: Path | None = None) -> Iterator[None]:
    """Wait until no other process that takes its turn has the bench of this name, and have it until the end.

    It keeps several workers of one person from one another; the ports have locks of their own, for which nobody waits.
    """
    lock = _lock(lock_path(f"turn://{bench}", folder or lock_folder()))
    with lock:
        yield


def holder_of(port: str, folder: Path | None = None) -> str:
    """Return who holds a port, in words, or an empty string when nobody does."""
    path = lock_path(port, folder or lock_folder())
    if not path.exists():
        return ""
    lock = _lock(path)
    try:
        lock.acquire(timeout=0)
    except TimeoutError:
        return _who(path)
    except OSError:
        return ""
    lock.release()
    return ""


def lock_folder() -> Path:
    """Return the folder of all locks: one for all users where there is one, else this user's."""
    folders = import_module("platformdirs")
    shared: Path = folders.site_runtime_path() / "lock"
    own: Path = folders.user_state_path("benchtest")
    if os.access(shared, os.W_OK | os.X_OK):
        return shared
    own.mkdir(parents=True, exist_ok=True)
    return own


def lock_path(port: str, folder: Path) -> Path:
    """Return the file of a port's lock; two names of one device have one."""
    real = port if "://" in port else os.path.normcase(os.path.realpath(port) if Path(port).exists() else port)
    plain = re.sub(r"[^A-Za-z0-9]+", "-", real).strip("-")[-40:]
    return folder / f"benchtest-{plain}-{hashlib.sha256(real.encode()).hexdigest()[:12]}.lock"


def _lock(path: Path) -> "FileLock":
    lock: FileLock = import_module("filelock").FileLock(path, mode=0o666, fallback_to_soft=False)
    return lock  # a kernel lock or none: a soft one would outlive its holder


def _login() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # no such user, as in some containers
        return "an unknown user"


def _note(path: Path) -> Path:
    return path.with_suffix(".holder")


def _write_note(path: Path, text: str) -> None:
    """Write the note in place, since its folder may let nobody replace another user's file; it is only a courtesy."""
    note = _note(path)
    flags = os.O_RDWR | _NO_LINKS | (0 if note.exists() else os.O_CREAT)
    with suppress(OSError):
        number = os.open(note, flags, 0o666)
        with os.fdopen(number, "w", encoding="utf-8") as file:
            with suppress(OSError, AttributeError):
                os.fchmod(number, 0o666)
            file.truncate(0)
            file.write(text)


def _who(path: Path) -> str:
    """Return the holder by its note; a note that cannot be read hides no lock."""
    try:
        text = _note(path).read_bytes()[:LONGEST_NOTE].decode("utf-8", "replace")
        return str(Holder(**json.loads(text)))
    except (OSError, ValueError, TypeError):
        return "by whom is not written down"
