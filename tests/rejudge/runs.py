"""Finished runs to judge again, made as the command line makes them."""

from collections.abc import Callable
from pathlib import Path

from benchtest.cli.documents import Prepared, prepare
from benchtest.cli.paper import stationery
from benchtest.cli.screen import Quiet
from benchtest.cli.session import Asked, Held, hold
from benchtest.faults import parse
from benchtest.results import Job
from benchtest.rig import Virtual

ROOT = Path(__file__).parent.parent.parent


def prepared(profile: Path, *, variant: str | None = None, options: tuple[str, ...] = ()) -> Prepared:
    """Return a profile planned for the embedded bench."""
    return prepare(profile, ROOT / "fixtures/simulated.yaml", variant, options)


def everything() -> Prepared:
    """Return the greenhouse board with everything fitted."""
    return prepared(ROOT / "profiles/greenhouse.yaml", variant="two-bay", options=("dosing",))


def finished(
    asked: Prepared, root: Path, *faults: str, serial: str = "S-1", stopped: Callable[[], str] = lambda: ""
) -> Held:
    """Return a run in its folder below `root`."""
    virtual = Virtual(seed=7, faults=tuple(parse(fault, asked.fitted) for fault in faults))
    job = Job(serial=serial)
    paper = stationery(None, None, job=job, procedure=asked.procedure)
    return hold(asked, Asked(job=job, ports={}, virtual=virtual, root=root, paper=paper), Quiet(), stopped)


def revised(folder: Path, board: str, *changes: tuple[str, str], name: str = "revised") -> Path:
    """Write a shipped profile with changes beside its signal database and return its path."""
    text = (ROOT / f"profiles/{board}.yaml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    (folder / "greenhouse.dbc").write_bytes((ROOT / "profiles/greenhouse.dbc").read_bytes())
    path = folder / f"{name}.yaml"
    path.write_text(text, encoding="utf-8")
    return path
