"""The host's parsers of text: the line protocol, foreign instruments, and what a person types.

The true answers stand here; what may be made of a spoilt one is said by patterns of docs/adapter-protocol.md that
share nothing with the readers under test.
"""

import math
import re
from collections.abc import Callable, Sequence
from typing import Any, Final

import numpy as np
import yaml

from benchtest.adapters import answers
from benchtest.adapters.finding import Described, find_port
from benchtest.adapters.instrument import TextInstrument
from benchtest.adapters.scpi import ScpiBench
from benchtest.adapters.text_line import PortLine
from benchtest.clock import VirtualClock
from benchtest.errors import RigError
from benchtest.fixture.dialect import SHIPPED, Dialect
from benchtest.fixture.document import Adapter, HardLimits
from benchtest.fixture.instrument import InstrumentAdapter
from benchtest.instruments import Capture, Order, Recording, Started, SupplyState
from tests.reliability.far_side import FarSide
from tests.reliability.mutations import Sample
from tests.reliability.parsers import Misread

LIMITS: Final = HardLimits()
NUMBER: Final = rb" *[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})? *"
NO_ERROR: Final = rb'[+-]?0{1,5},"(?:[^"\n]|"")*"'
NO_ERRORS: Final = rb"%b(?:,%b)*" % (NO_ERROR, NO_ERROR)
LIST: Final = rb"\(@[0-9:,]*\)"


def value_of(text: bytes) -> float:
    """Return the number that the page says it is."""
    value = float(text)
    if value == 9.91e37:
        return math.nan
    return value if abs(value) < 9.9e37 else math.copysign(math.inf, value)


def same(one: float, other: float) -> bool:
    return one == other or (math.isnan(one) and math.isnan(other))


# ---------------------------------------------------------------- the line protocol

FIRST: Final = 4711
"""The first tag of every conversation."""
CAPTURE: Final = Capture(
    orders=(Order(at=0.01, channel=101, value=1.0), Order(at=0.015, channel=101, value=0.0)),
    duration=0.02, rate=1000.0, channels=(401, 801),
)  # fmt: skip
PORTS: Final = (Described(device="/dev/ttyUSB0"),)
SAMPLES: Final = bytes(range(30, 70)) + b'\n;"\r\n#10;,\0\xff' + bytes(range(14)) * 2
TRUE: Final[dict[bytes, bytes]] = {
    b"*IDN?": b"Benchtest,Virtual bench adapter,0,1",
    b":OUTPut:ACTive?": b"(@)",
    b":SOURce:STATe? (@201)": b"1,24.0,0.125,0",
    b":MEASure? (@301)": b"24.02125",
    b":RECord:TIME?": b"4.1E-05",
    b":RECord:FORMat?": b"1000.0,20,0,2,401,0.0005,0.0,801,0.0002,0.0",
    b":RECord:DONE?": b"2,0.010004,1.0,101,0.015003,0.0,101",
    b":RECord:DATA?": b"#280" + SAMPLES[:80],
}
PATTERNS: Final[dict[bytes, bytes]] = {
    b"*IDN?": rb"[^\n]*",
    b":OUTPut:ACTive?": LIST,
    b":SOURce:STATe? (@201)": rb"[01],%b,%b,[01]" % (NUMBER, NUMBER),
    b":MEASure? (@301)": NUMBER,
    b":RECord:TIME?": NUMBER,
    b":RECord:STATe?": rb"(?:RUN|READY),[^;\n]*",
    b":RECord:FORMat?": rb"%b(?:,%b)*" % (NUMBER, NUMBER),
    b":RECord:DONE?": rb"%b(?:,%b)*" % (NUMBER, NUMBER),
    b":RECord:DATA?": rb"#(?:280|3080|40080|500080|6000080|70000080|800000080|9000000080)(?s:.{80})",
}
"""Query → what an answer to it must look like; of a block, with the length of this recording."""


class ScpiParser:
    """`adapters.scpi` and `adapters.wire`, by whole conversations with an adapter."""

    name = "line protocol, host"

    def __init__(self) -> None:
        self._adapter = Adapter.model_validate({"driver": "scpi", "identity": "Benchtest,Virtual", "dead_man": "1 s"})
        self._asks: dict[str, Callable[[ScpiBench], Any]] = {
            "who": lambda bench: find_port("io", self._adapter, PORTS, ask=lambda _: bench.introduce()),
            "enter": ScpiBench.enter,
            "leave": ScpiBench.leave,
            "check": ScpiBench.check,
            "set": lambda bench: bench.set(101, 1.0),
            "source": lambda bench: bench.source(201, volts=24.0, amps=1.0),
            "energised": ScpiBench.energised,
            "state": lambda bench: bench.supply_state(201),
            "measure": lambda bench: bench.measure(301),
            "measure again": lambda bench: bench.measure(301),
            "begin": lambda bench: bench.begin(CAPTURE),
            "record": lambda bench: (bench.begin(CAPTURE), bench.fetch())[1],
        }  # fmt: skip
        self.corpus: Sequence[Sample] = [sample for ask in self._asks for sample in self._true(ask)]

    def _true(self, ask: str) -> list[Sample]:
        far, bench = self._bench()
        self._asks[ask](bench)
        return [Sample(f"{ask}/{number}", said) for number, said in enumerate(far.said)]

    def _bench(self, at: int = -1, spoilt: bytes = b"") -> tuple[FarSide, ScpiBench]:
        clock = VirtualClock()
        clock.sleep_until((FIRST - 0.5) / 1e6)  # where the first tag comes from
        far = FarSide(clock, answering(), at, spoilt)
        return far, ScpiBench(port=far, adapter=self._adapter, limits=LIMITS, clock=clock)  # type: ignore[arg-type]

    def take(self, sample: Sample) -> bool:
        ask, _, number = sample.ask.partition("/")
        far, bench = self._bench(int(number), sample.data)
        try:
            value = self._asks[ask](bench)
        except RigError:
            return False
        self._judge(ask, value, sample.data, far)
        return True

    def _judge(self, ask: str, value: Any, data: bytes, far: FarSide) -> None:
        """Hold what was returned against the only reply that could say so, and against the true one where it came."""
        _, *units, _ = far.heard[far.spoil_at].strip(b"\n").split(b";")
        queries = [unit for unit in units if unit in PATTERNS]
        errors = rb"[^\n]*" if ask == "leave" and not queries else NO_ERRORS  # what counts then is read back
        wanted = b";".join([b"%d" % (FIRST + far.spoil_at), *(b"(%b)" % PATTERNS[query] for query in queries), errors])
        fitting = [match.groups() for match in re.finditer(rb"(?:\A|(?<=\n))%b\r?\n" % wanted, data)]
        asked_again = far.may_be_true and len(queries) == len(units) and ask != "leave"
        if not fitting and not asked_again:
            raise Misread(f"{ask}: accepted, though no reply with this tag says so")
        if not sound(value):
            raise Misread(f"{ask}: {value} is not sound")
        if isinstance(value, float):
            possible = [*(value_of(found[0]) for found in fitting), *([24.02125] if asked_again else [])]
            if not any(same(value, one) for one in possible):
                raise Misread(f"{ask}: {value} stands nowhere")
        if isinstance(value, Recording) and np.asarray(value.codes).tobytes() not in data + SAMPLES:
            raise Misread(f"{ask}: samples that stand nowhere")


def answering() -> Callable[[bytes], bytes]:
    """Return what gives the true reply to each line of one conversation; a recording runs for one look."""
    states = iter([b"RUN,0.0152"])

    def answer(line: bytes) -> bytes:
        if line == b"\n":
            return b""
        tag, *units, _ = line.strip(b"\n").split(b";")
        queries = [unit for unit in units if unit in PATTERNS]
        said = [next(states, b"READY,0") if unit == b":RECord:STATe?" else TRUE[unit] for unit in queries]
        return b";".join([tag.removeprefix(b":SYST:ECHO? "), *said, b'0,"No error"\n'])

    return answer


def sound(value: object) -> bool:
    """Say whether a value has no NaN in it where one would be reckoned with, and a recording is the one asked for."""
    match value:
        case Recording():
            numbers = [value.rate, *value.scale, *value.offset, *(order.at for order in value.done)]
            as_long = value.codes.shape == (2, 20) and abs(value.duration - CAPTURE.duration) <= 2 / value.rate
            asked = value.channels == CAPTURE.channels and (value.overrun or as_long)
            return asked and all(map(math.isfinite, numbers)) and not any(math.isnan(o.value) for o in value.done)
        case Started():
            return math.isfinite(value.at) and math.isfinite(value.uncertainty)
        case SupplyState():
            return not (math.isnan(value.volts) or math.isnan(value.amps))
        case _:
            return True


# ---------------------------------------------------------------- foreign instruments

IDENTITY: Final = b"Somebody,Bench supply and meter,0042,1.0"
SPOKEN: Final[dict[bytes, bytes]] = {
    b"*IDN?": IDENTITY,
    b"SYSTem:ERRor?": b'0,"No error"',
    b"SOURce:VOLTage?": b"+2.400000E+01",
    b"SOURce:CURRent?": b"1.500000E+00",
    b"OUTPut:STATe?": b"1",
    b"MEASure:VOLTage:DC?": b"23.9871",
    b"MEASure:CURRent:DC?": b"+0.125",
    b"MEASure:RESistance?": b"9.9E37",
    b"STATus:QUEStionable:CONDition?": b"+2",
    b"OUTPut:MODE?": b'"CV"',
    b"ROUTe:CLOSe? (@21)": b"0",
}
CHANNELS: Final = {
    201: {"supply": 1}, 301: {"volts_of": 1}, 801: {"amps_of": 1}, 101: {"closes": 21},
    401: {"reads": "dc volts", "route": [11]}, 701: {"reads": "ohms"},
}  # fmt: skip
BY_MASK: Final[dict[str, object]] = {"query": "STATus:QUEStionable:CONDition?", "mask": 1}
BY_WORD: Final[dict[str, object]] = {"query": "OUTPut:MODE?", "word": "CC"}
Reading = Callable[[TextInstrument], Any]


class InstrumentParser:
    """`adapters.instrument` and `adapters.conversation` in the words of a shipped dialect."""

    name = "foreign instrument"

    def __init__(self) -> None:
        self._speaking = {"": _speaking(None), "mask": _speaking(BY_MASK), "word": _speaking(BY_WORD)}
        self._asks: dict[str, tuple[str, bytes, Reading]] = {
            "recognise": ("", b"1", TextInstrument.recognise),
            "enter": ("", b"0", TextInstrument.enter),
            "leave": ("", b"0", TextInstrument.leave),
            "check": ("", b"1", TextInstrument.check),
            "set": ("", b"1", lambda it: it.set(101, 1.0)),
            "source": ("", b"1", lambda it: it.source(201, volts=24.0, amps=1.5)),
            "energised": ("", b"1", TextInstrument.energised),
            "measure 301": ("", b"1", lambda it: it.measure(301)),
            "measure 401": ("", b"1", lambda it: it.measure(401)),
            "measure 701": ("", b"1", lambda it: it.measure(701)),
            "state": ("", b"1", lambda it: it.supply_state(201)),
            "state by mask": ("mask", b"1", lambda it: it.supply_state(201)),
            "state by word": ("word", b"1", lambda it: it.supply_state(201)),
        }
        self.corpus: Sequence[Sample] = [sample for ask in self._asks for sample in self._true(ask)]

    def _true(self, ask: str) -> list[Sample]:
        far, instrument = self._instrument(ask)
        self._asks[ask][2](instrument)
        return [Sample(f"{ask}/{number}", said) for number, said in enumerate(far.said)]

    def _instrument(self, ask: str, at: int = -1, spoilt: bytes = b"") -> tuple[FarSide, TextInstrument]:
        how, on, _ = self._asks[ask]
        said = {**SPOKEN, b"OUTPut:STATe?": on}
        clock, adapter = VirtualClock(), self._speaking[how]
        far = FarSide(clock, lambda line: _line(said.get(line.strip(b"\n"))), at, spoilt)
        line = PortLine(port=far, ends=adapter.words.terminations, clock=clock)  # type: ignore[arg-type]
        return far, TextInstrument(line=line, adapter=adapter, limits=LIMITS, clock=clock)

    def take(self, sample: Sample) -> bool:
        ask, _, number = sample.ask.partition("/")
        far, instrument = self._instrument(ask, int(number), sample.data)
        try:
            value = self._asks[ask][2](instrument)
        except RigError:
            return False
        self._judge(ask, value, sample.data, far)
        return True

    def _judge(self, ask: str, value: Any, data: bytes, far: FarSide) -> None:
        asked = far.heard[far.spoil_at].strip(b"\n")
        lines = [line.strip(b" \r\n\0") for line in data.split(b"\n")[:-1]]
        fitting = [line for line in lines if re.fullmatch(_looks(SPOKEN[asked]), line)]
        if not fitting and not far.may_be_true:
            raise Misread(f"{ask}: accepted, though no line answers {asked!r}")
        if not sound(value):
            raise Misread(f"{ask}: {value} is not sound")
        if isinstance(value, float):
            own = asked.startswith(b"MEASure")
            true = [] if own and not far.may_be_true else filter(_plain, SPOKEN.values())
            if not any(same(value, value_of(one)) for one in [*true, *(fitting if own else [])]):
                raise Misread(f"{ask}: {value} stands nowhere")


def _speaking(limiting: dict[str, object] | None) -> InstrumentAdapter:
    written = yaml.safe_load((SHIPPED / "scpi-99.yaml").read_text(encoding="utf-8"))
    if limiting is not None:
        written["supply"]["limiting"] = limiting
    adapter = InstrumentAdapter.model_validate(
        {"driver": "instrument", "identity": "Somebody,Bench", "dead_man": "none", "channels": CHANNELS}
    )
    adapter.speaking(Dialect.model_validate(written))
    return adapter


def _line(answer: bytes | None) -> bytes:
    return b"" if answer is None else answer + b"\n"


def _plain(answer: bytes) -> bool:
    return re.fullmatch(NUMBER, answer) is not None


def _looks(answer: bytes) -> bytes:
    """Return the pattern of whatever could be said instead of a true answer."""
    if answer in {b"0", b"1"}:
        return rb"\+*(?:[01]|(?i:ON|OFF))"
    if _plain(answer):
        return NUMBER
    return rb'[+-]?0+|[+-]?0{1,5} *, *"(?:[^"]|"")*"(?:,%b)*' % NO_ERROR if answer[:1] == b"0" else rb".*"


# ---------------------------------------------------------------- what a person types


class TypedParser:
    """`adapters.answers`: not a wire, but any text can come; a ValueError is how it asks again."""

    name = "what is typed"

    def __init__(self) -> None:
        self._asks: dict[str, Callable[[str], Any]] = {
            "V": lambda text: answers.reading(text, "V"),
            "V a.c.": lambda text: answers.reading(text, "V", alternating=True),
            "A": lambda text: answers.reading(text, "A"),
            "ohm": lambda text: answers.reading(text, "\u03a9"),
            "yes": answers.yes,
            "state": answers.state,
            "flashes": lambda text: answers.code(text, digits=0),
            "code": lambda text: answers.code(text, digits=2),
        }
        typed = {"V": ["24.1 V", "-12,5", "OL"], "V a.c.": ["24.0 V~"], "A": ["45 mA", "1.2e-3"],
                 "ohm": ["4k7", "4.7 kohm", "OL", "82R5"], "yes": ["y", "no"], "state": ["1", "blink"],
                 "flashes": ["3", "dark"], "code": ["11 12", "steady"]}  # fmt: skip
        self.corpus: Sequence[Sample] = [Sample(ask, text.encode()) for ask, texts in typed.items() for text in texts]

    def take(self, sample: Sample) -> bool:
        text = sample.data.decode("utf-8", "replace")
        try:
            value = self._asks[sample.ask](text)
        except ValueError:
            return False
        over_range = text.strip().lower() in answers.OVER_RANGE
        if isinstance(value, float) and not (math.isfinite(value) or over_range):
            raise Misread(f"{sample.ask}: {text!r} was read as {value}")
        return True
