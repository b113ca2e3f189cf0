"""Results as the XML that build servers read: a test case per check, grouped by step, and one for the run itself.

Source: the `junit.xml` dialect has no standard; element and attribute names from memory of what common readers accept
(`testsuites/testsuite/testcase` with `failure`, `error`, `skipped`, `properties`). `cases` says how a case counts.
"""

import re
import xml.etree.ElementTree as ET
from datetime import datetime
from pathlib import Path
from typing import Final

from benchtest.canonical import write_whole
from benchtest.records.cases import RUN, Case, cases
from benchtest.results import Run

# XML 1.0 (fifth edition), 2.2: the characters that may not stand in a document, escaped or not.
_ILLEGAL: Final = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def write_junit(folder: Path, run: Run) -> Path:
    """Write `junit.xml` into the run folder and return its path."""
    root = ET.Element("testsuites", {"name": _legal(f"{run.procedure.part} {run.job.serial}")})
    counted = cases(run.procedure, run.results, run.outcome, run.reason)
    for step in run.procedure.steps:
        suite = ET.SubElement(root, "testsuite", {"name": _legal(step.title), "timestamp": _legal(run.started)})
        _add_properties(suite, run)
        for case in counted:
            if case.step == step.id:
                _add_case(suite, case, run)
        _count(suite)
    suite = ET.SubElement(root, "testsuite", {"name": RUN})
    _add_case(suite, counted[-1], run)
    _count(suite)
    _count(root)
    root.set("time", _seconds(run))
    ET.indent(root)
    path = folder / "junit.xml"
    write_whole(path, ET.tostring(root, encoding="utf-8", xml_declaration=True))
    return path


def _add_case(suite: ET.Element, case: Case, run: Run) -> None:
    names = {"classname": _legal(f"{run.procedure.part}.{case.step}"), "name": _legal(case.name)}
    element = ET.SubElement(suite, "testcase", names)
    if case.check is not None and case.check.requirement:
        properties = ET.SubElement(element, "properties")
        for name in case.check.requirement:
            ET.SubElement(properties, "property", {"name": "requirement", "value": _legal(name)})
    if case.counted == "passed":
        return
    said = ET.SubElement(element, case.counted, {"type": case.word, "message": _legal(case.sentence)})
    note, place = case.result.note if case.result else "", case.check.place if case.check else ""
    said.text = _legal("\n".join(filter(None, [case.sentence, note, place])))


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
