"""What was asked for on pytest's command line: which bench, which boards, what is wrong with them."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pytest

from benchtest.errors import BenchtestError
from benchtest.fixture import LoadedFixture, load_fixture

ONE_WORKER: Final = frozenset({"no", "load", "loadfile", "loadgroup"})
"""Ways of distribution that leave the checks of a board together; with them a real bench meets each board once."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Asked:
    """The bench, and which boards are put on it."""

    fixture: LoadedFixture
    real: bool = False
    """It was named with `--rig`: a bench that holds one board."""
    variants: tuple[str, ...] = ()
    """Empty: every one, or the only one."""
    options: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()
    seed: int = 1
    attempts: int = 1
    ports: tuple[tuple[str, str], ...] = ()
    """Adapter and where it is."""
    acknowledged: str = ""
    """Who knows the cautions of the real bench."""

    def seed_of(self, attempt: int) -> int:
        """Return the seed of an attempt; they count from 1."""
        return self.seed + attempt - 1


def add_options(parser: pytest.Parser) -> None:
    """Add the options that say which board, for a session in which a bench is named."""
    group = parser.getgroup("benchtest")
    group.addoption("--variant", action="append", default=[], metavar="NAME", help="Only this variant.")
    group.addoption("--option", action="append", default=[], metavar="NAME", help="With this option fitted.")
    group.addoption(
        "--fault", action="append", default=[], metavar="TEXT", help="Fault of each board that can have it."
    )
    group.addoption("--seed", type=int, default=1, metavar="N", help="Which simulated board of many (default: 1).")
    group.addoption(
        "--attempts",
        type=int,
        default=1,
        metavar="N",
        help="Put every board through N times, each listed; simulated with seeds that follow one another (default: 1).",
    )
    group.addoption("--port", action="append", default=[], metavar="ADAPTER=PORT", help="Where an adapter of --rig is.")
    group.addoption("--acknowledge", default="", metavar="NAME", help="Who knows the cautions of the bench of --rig.")


def asked(config: pytest.Config) -> Asked:
    """Return what was asked for; raises pytest's UsageError where it cannot be."""
    real = config.option.bench_rig
    if real and config.option.bench_fixture:
        raise pytest.UsageError("--fixture is a simulated bench and --rig a real one (give one of the two)")
    found = Asked(
        fixture=_fixture(config),
        real=bool(real),
        variants=tuple(_given(config, "variant", [])),
        options=tuple(_given(config, "option", [])),
        faults=tuple(_given(config, "fault", [])),
        seed=_given(config, "seed", 1),
        attempts=_given(config, "attempts", 1),
        ports=tuple(_port(text) for text in _given(config, "port", [])),
        acknowledged=str(_given(config, "acknowledge", "")).strip(),
    )
    if problem := _nonsense(found, config.getoption("dist", "no")):
        raise pytest.UsageError(problem)
    return found


def _given(config: pytest.Config, name: str, default: Any) -> Any:
    return config.getoption(name, default)  # not there where a conftest names the bench


def _fixture(config: pytest.Config) -> LoadedFixture:
    path = Path(config.option.bench_rig or config.option.bench_fixture or _by_configuration(config))
    try:
        return load_fixture(path)
    except BenchtestError as problem:
        raise pytest.UsageError(str(problem)) from None


def _by_configuration(config: pytest.Config) -> Path:
    base = config.inipath.parent if config.inipath is not None else config.rootpath
    return shortest(base / config.getini("bench_fixture"), config)


def shortest(path: Path, config: pytest.Config) -> Path:
    """Return a path as a person in the folder where pytest was started would write it."""
    here = config.invocation_params.dir
    return path.relative_to(here) if path.is_relative_to(here) else path


def _port(text: str) -> tuple[str, str]:
    name, equals, port = text.partition("=")
    if not name or not equals or not port:
        raise pytest.UsageError(f"--port {text!r} is not ADAPTER=PORT")
    return name, port


def _nonsense(found: Asked, distribution: str) -> str:
    """Return why this cannot be done, or nothing."""
    adapters = found.fixture.fixture.adapters
    if found.attempts < 1 or found.seed < 0:
        return "--attempts is 1 or more, --seed 0 or more"
    if unknown := [name for name, _ in found.ports if name not in adapters]:
        return f"--port {unknown[0]}=…: no such adapter (adapters of this fixture: {', '.join(adapters)})"
    if not found.real and (found.ports or found.acknowledged):
        return "--port and --acknowledge are for a real bench (name it with --rig instead of --fixture)"
    if found.real and found.faults:
        return "--fault is for a simulated bench (name it with --fixture instead of --rig)"
    if found.real and distribution not in ONE_WORKER:
        return f"--dist {distribution} would put a board on the real bench more than once (try --dist load)"
    return ""
