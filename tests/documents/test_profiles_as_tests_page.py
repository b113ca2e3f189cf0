"""docs/profiles-as-tests.md: what it shows is what happens, and its script does what a build needs."""

import os
import re
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import pytest
import yaml

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs/profiles-as-tests.md").read_text(encoding="utf-8")
PLUGIN = ("-p", "benchtest.pytest_plugin", "-p", "no:hypothesispytest", "-p", "no:cacheprovider")
BENCH = ("--fixture", "fixtures/simulated.yaml")
AS_FROM_A_SHELL = {name: value for name, value in os.environ.items() if name != "PYTEST_ADDOPTS"}


def shown(mark: str) -> str:
    """Return what stands in the block after a mark of the page."""
    found = re.search(rf"<!-- {mark} -->\n```\w*\n(.*?)```", PAGE, re.DOTALL)
    assert found is not None
    return found[1]


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Return a copy of the shipped documents, with pytest's own configuration."""
    for folder in ("profiles", "fixtures"):
        shutil.copytree(ROOT / folder, tmp_path / folder)
    (tmp_path / "pytest.ini").write_text("[pytest]\naddopts = --strict-markers --strict-config\n")
    return tmp_path


def done(place: Path, *words: str, **environment: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        words,
        cwd=place,
        env={**AS_FROM_A_SHELL, "PYTHONPATH": str(ROOT), "COLUMNS": "80", **environment},
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )


def test_the_failure_on_the_page_is_the_one_that_is_told(place: Path) -> None:
    """Word for word, with the line of the limit; only what was measured is another with every model of a contact."""
    words = (sys.executable, "-m", "pytest", *PLUGIN, "profiles/carwash.yaml", *BENCH, "-q")
    told = done(place, *words, "--fault", "K3 contact welded").stdout

    assert unmeasured(shown("told")) in unmeasured(told)


def unmeasured(text: str) -> str:
    """Return a text without the digits of what was measured."""
    return re.sub(r"(?<=  measured     )[\d.]+ ± [\d.]+", "…", text)


def test_the_checks_on_the_page_run(place: Path) -> None:
    """Two pass on the simulated bench, and the one for a real bench waits for one."""
    (place / "test_own.py").write_text(shown("own"), encoding="utf-8")
    found = done(place, sys.executable, "-m", "pytest", *PLUGIN, "test_own.py", *BENCH, "-q")
    assert "2 passed, 1 skipped" in found.stdout


def test_every_option_of_the_plugin_is_on_the_page(place: Path) -> None:
    """Whoever adds an option adds it to the page."""
    told = done(place, sys.executable, "-m", "pytest", *PLUGIN, *BENCH, "--help").stdout
    ours = told[told.index("boards on a bench:") : told.index("\n\n", told.index("boards on a bench:"))]
    options = re.findall(r"^  (--[a-z]+)=", ours, re.MULTILINE)

    assert {"--fixture", "--rig", "--variant", "--option", "--fault", "--seed", "--attempts"} < set(options)
    assert [] == [option for option in options if f"`{option} " not in PAGE]


def test_the_script_for_a_build_leaves_its_reports(place: Path) -> None:
    """A JUnit file and a table, and a requirement without a check makes it fail although every board passed."""
    (place / "profiles/greenhouse.yaml").unlink()  # one board is enough here
    with (place / "profiles/carwash.requirements.txt").open("a") as file:
        file.write("CW-R9  Never two motors at once.\n")
    addopts = " ".join((*PLUGIN, "--maxprocesses=1"))
    ended = done(place, "sh", str(ROOT / "docs/ci/profiles.sh"), PYTHON=sys.executable, PYTEST_ADDOPTS=addopts)
    cases = list(ET.parse(place / "profiles.xml").getroot().iter("testcase"))

    assert 1 == ended.returncode, ended.stdout + ended.stderr
    assert (105, []) == (len(cases), [case for case in cases for kind in ("failure", "error") if case.find(kind)])
    assert "\nCW-R9,Never two motors at once.,,,,,,,\n" in (place / "trace-carwash.csv").read_text(encoding="utf-8")
    kept = [pattern for step in steps_of_the_workflow() for pattern in step.get("with", {}).get("path", "").split()]
    assert ["profiles.xml", "trace-*.csv"] == [pattern for pattern in kept if list(place.glob(pattern))] == kept


def test_the_workflow_is_yaml_and_runs_the_script() -> None:
    """PyYAML reads it, and one of its steps is the script."""
    assert "sh docs/ci/profiles.sh" in [step.get("run") for step in steps_of_the_workflow()]


def steps_of_the_workflow() -> list[dict[str, Any]]:
    workflow = yaml.safe_load((ROOT / "docs/ci/workflow.yaml").read_text(encoding="utf-8"))
    steps: list[dict[str, Any]] = workflow["jobs"]["simulated-bench"]["steps"]
    return steps
