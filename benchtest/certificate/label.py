"""A label for the board: what it is, what came of it, and the code of the seal, on a roll or a sheet.

No personal data stands on it, for a board travels further than its papers. The code is 25 mm wide, quiet zone included,
which makes its modules some 0.4 mm; common office and label printers set 0.13 mm (common practice, no source).
"""

from dataclasses import asdict, dataclass
from typing import Final, Literal, TypeAlias

from benchtest.certificate.document import MARK_OF
from benchtest.certificate.history import outcome_word
from benchtest.certificate.pdf import as_input, compiled
from benchtest.language import Language
from benchtest.readings import Origin
from benchtest.results import Outcome, Run
from benchtest.seal.code import to_svg
from benchtest.seal.statement import Statement

Layout: TypeAlias = Literal["roll", "sheet"]
PLACES: Final = 24
"""Labels on a sheet: 3 side by side, 8 below one another, each 70 mm by 37 mm."""
LONGEST: Final = 40
"""Characters of a line."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Label:
    """What stands on a label, already worded."""

    title: str
    language: str
    day: tuple[int, int, int]
    outcome: str
    band: str
    """Why the outcome stands in a black band; empty where a board was really tested and passed."""
    lines: tuple[str, ...]
    code: str
    """The QR code as SVG."""
    alternative: str
    foot: str


def label_of(run: Run, sealed: Statement, text: str, words: Language) -> Label:
    """Return the label of a run's sealed paper, which is the one that counts; `text` is what its code holds."""
    job, procedure = run.job, run.procedure
    passed = sealed.outcome == "pass"
    outcome, unreal = outcome_word(sealed.outcome, words), _unreal(run, words)
    stated = {"revision": job.revision, "work_order": job.work_order}
    lines = [f"{procedure.part} {job.serial}", *(_line(words, key, value) for key, value in stated.items())]
    lines += [words.say("label_tested", day=words.day(run.ended))]
    year, month, day = (int(part) for part in sealed.issued.split("-"))
    return Label(
        title=f"{sealed.number} {outcome}",
        language=words.tag,
        day=(year, month, day),
        outcome=f"{MARK_OF[Outcome(sealed.outcome)]} {outcome}",
        band=" · ".join(filter(None, ["" if passed else words.say("label_not_good"), unreal])),
        lines=tuple(_cut(line) for line in lines if line),
        code=to_svg(text),
        alternative=words.say("seal_code", said=f"{sealed.number} {outcome}"),
        foot=_cut(" · ".join(filter(None, [sealed.number, run.depot.name if run.depot else ""])), 60),
    )


def _unreal(run: Run, words: Language) -> str:
    """Return the word for a run whose readings were not measured here; else nothing."""
    real = run.origin in {Origin.MEASURED, Origin.BY_HAND}
    return "" if real else words.say(f"word_{run.origin.name.lower()}")


def _line(words: Language, key: str, value: str) -> str:
    return f"{words.say(key)} {value}" if value else ""


def _cut(text: str, longest: int = LONGEST) -> str:
    return text if len(text) <= longest else text[: longest - 1] + "…"


def to_label(label: Label, layout: Layout, position: int = 1) -> bytes:
    """Return the PDF; on a sheet the label lies at a position from 1 to 24, row by row."""
    inputs = {"label": as_input(asdict(label)), "layout": layout, "position": str(position)}
    return compiled("label.typ", inputs)
