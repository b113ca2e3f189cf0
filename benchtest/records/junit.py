"""Results as the XML that build servers read: a test case per check, grouped by step.

Source: the `junit.xml` dialect has no standard; element and attribute names from memory of what common readers accept
(`testsuites/testsuite/testcase` with `failure`, `error`, `skipped`, `properties`). Undecided counts as a failure here,
because the dialect knows no third word and an undecided board must not turn a build green.
"""

import re
import xml.etree.ElementTree as ET
from datetime import datetime
from pathlib import Path
from typing import Final

from benchtest.canonical import write_whole
from benchtest.metrology.figures import figures, permitted, unusual
from benchtest.procedure import Check, Interval
from benchtest.results import Outcome, Result, Run, Verdict

# XML 1.0 (fifth edition), 2.2: the characters that may not stand in a document, escaped or not.
_ILLEGAL: Final = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def write_junit(folder: Path, run: Run) -> Path:
    """Write `junit.xml` into the run folder and return its path."""
    root = ET.Element("testsuites", {"name": _legal(f"{run.procedure.part} {run.job.serial}")})
    found = {result.check.id: result for result in run.results}
    for step in run.procedure.steps:
        suite = ET.SubElement(root, "testsuite", {"name": _legal(step.title), "timestamp": _legal(run.started)})
        _add_properties(suite, run)
        for check in step.checks:
            _add_case(suite, check, found.get(check.id), step=step.id, run=run)
        _count(suite)
    _add_run_itself(root, run)
    _count(root)
    root.set("time", _seconds(run))
    ET.indent(root)
    path = folder / "junit.xml"
    write_whole(path, ET.tostring(root, encoding="utf-8", xml_declaration=True))
    return path


def _add_case(suite: ET.Element, check: Check, result: Result | None, *, step: str, run: Run) -> None:
    names = {"classname": _legal(f"{run.procedure.part}.{step}"), "name": _legal(check.title)}
    case = ET.SubElement(suite, "testcase", names)
    if result is None or result.verdict is Verdict.NOT_TESTED:
        note = result.note if result else "never reached"
        ET.SubElement(case, "skipped", {"message": _legal(note or "not tested")})
        return
    accepted = result.verdict is Verdict.CONDITIONAL_PASS and run.procedure.decision.accept_conditional
    if result.verdict is not Verdict.PASS and not accepted:
        sentence = _sentence(result)
        failure = ET.SubElement(case, "failure", {"type": str(result.verdict), "message": _legal(sentence)})
        failure.text = _legal("\n".join(filter(None, [sentence, result.note, check.place])))


def _sentence(result: Result) -> str:
    check = result.check
    limits = check.permitted
    if isinstance(limits, Interval):
        limits = permitted(limits.low, limits.high, check.unit)
    k = unusual(result.coverage)
    measured = "nothing" if result.value is None else figures(result.value, result.uncertainty, check.unit, coverage=k)
    return f"{result.verdict}: {check.title}: expected {limits}, measured {measured}, probe {check.probe}"


def _add_properties(suite: ET.Element, run: Run) -> None:
    facts = {
        "certificate": run.number,
        "serial": run.job.serial,
        "part": run.procedure.part,
        "outcome": str(run.outcome),
        "origin": str(run.origin),
        "profile": run.profile,
        "profile sha-256": run.profile_digest,
        "bench": run.bench,
        "software": run.software,
    }
    if run.overrides:
        facts["calibration overridden by"] = "; ".join(f"{one.by}: {one.reason}" for one in run.overrides)
    properties = ET.SubElement(suite, "properties")
    for name, value in facts.items():
        ET.SubElement(properties, "property", {"name": name, "value": _legal(value)})


def _add_run_itself(root: ET.Element, run: Run) -> None:
    """Add one case for the run: a bench that failed, or a run that was stopped, is its error and no check's failure."""
    suite = ET.SubElement(root, "testsuite", {"name": "run"})
    case = ET.SubElement(suite, "testcase", {"classname": _legal(f"{run.procedure.part}.run"), "name": "run complete"})
    if run.outcome in {Outcome.BENCH_FAULT, Outcome.ABORTED}:
        ET.SubElement(case, "error", {"type": str(run.outcome), "message": _legal(run.reason)})
    _count(suite)


def _count(element: ET.Element) -> None:
    for attribute, path in (
        ("tests", "testcase"),
        ("failures", "failure"),
        ("errors", "error"),
        ("skipped", "skipped"),
    ):
        element.set(attribute, str(len(element.findall(f".//{path}"))))


def _seconds(run: Run) -> str:
    return f"{(datetime.fromisoformat(run.ended) - datetime.fromisoformat(run.started)).total_seconds():.3f}"


def _legal(text: str) -> str:
    return _ILLEGAL.sub("\ufffd", text)
