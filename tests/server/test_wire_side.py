"""The adapter's side of the protocol, line by line, on a clock that is moved by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.clock import VirtualClock
from benchtest.simulator import syntax
from benchtest.simulator.wire_side import answer
from benchtest.simulator.wire_state import WireState
from tests.published import scpi
from tests.server.table_bench import TableBench


class Desk:
    """A served bench without wires."""

    def __init__(self) -> None:
        self.clock = VirtualClock()
        self.bench = TableBench(self.clock)
        self.state = WireState(self.bench, self.clock)

    def say(self, line: str) -> str:
        return answer(self.state, line.encode("latin-1")).decode("latin-1").removesuffix("\n")


@pytest.fixture
def desk() -> Desk:
    """A served bench, armed."""
    desk = Desk()
    desk.say("DEAD:ARM")
    return desk


@pytest.mark.parametrize(("long", "short"), scpi.SHORT_FORMS.items())
def test_short_forms_are_the_published_ones(long: str, short: str) -> None:
    """The short form of a word follows SCPI-99 volume 1, 6.2.1."""
    assert short == syntax.short_form(long)


def test_only_long_and_short_forms_are_headers() -> None:
    """Nothing between or beside the two forms is accepted; letter case does not matter."""
    assert all(syntax.matches(word, "DEFine") for word in scpi.DEFINE_VALID)
    assert not any(syntax.matches(word, "DEFine") for word in scpi.DEFINE_INVALID)


@pytest.mark.parametrize(("text", "value"), [*scpi.NUMBERS.items(), *scpi.NON_DECIMAL.items()])
def test_numbers_are_read(text: str, value: float) -> None:
    """Decimal and non-decimal numbers are read as printed in IEEE 488.2."""
    assert value == syntax.number(text)


@pytest.mark.parametrize(("text", "channels"), scpi.CHANNEL_LISTS.items())
def test_channel_lists_are_read(text: str, channels: tuple[int, ...]) -> None:
    """The adapter reads the same lists as the host."""
    assert channels == syntax.channels(text)


@pytest.mark.parametrize(("code", "text"), scpi.ERRORS.items())
def test_error_texts_are_the_published_ones(code: int, text: str) -> None:
    """Codes carry the texts of the SCPI-99 error list."""
    assert text == syntax.TEXTS[code]


def test_tag_answer_and_errors_come_in_one_line(desk: Desk) -> None:
    """The replies of a line are joined by semicolons, in order."""
    assert '4711;0.0;0,"No error"' == desk.say(":SYST:ECHO? 4711;:MEASure? (@301);:SYSTEM:ERROR:ALL?\r")


def test_queue_is_first_in_first_out_and_its_last_entry_tells_overflow(desk: Desk) -> None:
    """Sixteen errors are kept, the last one becomes -350, *CLS empties the queue (SCPI-99 volume 1, 21.8)."""
    desk.say("*RST 1")
    for _ in range(20):
        desk.say("NOTHING")

    assert "16" == desk.say("SYST:ERR:COUN?")
    assert desk.say("SYST:ERR?").startswith('-108,"Parameter not allowed')
    rest = desk.say("SYST:ERR:ALL?")
    assert rest.startswith('-113,"Undefined header')
    assert rest.endswith('-350,"Queue overflow"')
    assert '0,"No error"' == desk.say("SYST:ERR:NEXT?")
    desk.say("NOTHING")
    desk.say("*CLS")
    assert "0" == desk.say("SYST:ERR:COUN?")


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("OUTP:VAL 1,(@101);:NOTHING", -113),
        ("OUTP:VAL 1,(@101);OUTP:VAL 1,(@102)", -113),
        ("OUTP:VAL 1,(@101);:OUTP:VAL 1", -109),
        ("OUTP:VAL 1,(@101);:*RST 5", -102),
        ("OUTP:VAL 1,(@101);;", -102),
        ("OUTP:VAL 1,(@101)\xff", -102),
        ("OUTP:VAL 1,(@101);:OUTP:VAL 1,(@102", -102),
        ("OUTP:VAL 1,(@101);:OUTP:VAL 1@102)", -102),
        ("OUTPU:VAL 1,(@101)", -113),
        ("OUTP:VAL 1 (@101)", -109),
        ("OUTP:VAL 1,101", -104),
        ("OUTP:VAL 9.91E37,(@101)", -104),
        ("OUTP:VAL one,(@101)", -104),
        ("OUTP:VAL 1,(@999)", -200),
        ("OUTP:VAL 1,(@1:9999)", -223),
        ("SOUR:STAT ON,(@201)", -221),
        ("SOUR:VOLT 24,(@201)", -221),
        ("SOUR:CURR -1,(@201)", -222),
        ("SOUR:CURR 1,(@201,202)", -108),
        ("SOUR:CURR 1,(@)", -109),
        ("DEAD:TIME 60", -222),
        ("REC:DATA?", -230),
        ("REC:STAR 1,1000,(@301);:REC:DATA?", -221),
    ],
)
def test_what_is_wrong_switches_nothing_and_is_named(desk: Desk, line: str, code: int) -> None:
    """A wrong line leaves every output as it was and puts its code of the SCPI-99 list into the queue."""
    desk.say(line)

    assert {} == desk.bench.values
    assert desk.say("SYST:ERR?").startswith(f"{code},")


def test_nothing_more_is_switched_after_a_refusal_in_the_same_line(desk: Desk) -> None:
    """A refused unit stops the orders of its line, and its queries are still answered."""
    assert "5" == desk.say("OUTP:VAL 1,(@999);:OUTP:VAL 1,(@101);:SYST:ECHO? 5")
    assert {} == desk.bench.values


def test_supply_is_set_current_first(desk: Desk) -> None:
    """Current limit, voltage, on: only then is the supply sourced; a change while on follows at once."""
    desk.say("SOUR:CURR 1.5,(@201);:SOUR:VOLT 24,(@201)")
    assert {} == desk.bench.values
    desk.say("SOUR:STAT ON,(@201);:SOUR:VOLT 16,(@201)")
    assert ["source 201 24 V 1.5 A", "source 201 16 V 1.5 A"] == desk.bench.log
    desk.say("SOUR:STAT OFF,(@201)")
    assert {} == desk.bench.values
    desk.say("SOUR:STAT ON,(@201)")
    assert desk.say("SYST:ERR?").startswith("-221")


@pytest.mark.parametrize(
    "order",
    ["OUTP:VAL 1,(@101)", "SOUR:CURR 1,(@201)", "SOUR:VOLT 1,(@201)", "SOUR:STAT 1,(@201)",
     "REC:ORD 0,1,(@101)", "REC:STAR 0.1,1000,(@301)"],
)  # fmt: skip
def test_locked_adapter_switches_nothing_on(order: str) -> None:
    """Before it is armed, and after *RST too, an adapter refuses whatever can switch something on."""
    desk = Desk()
    desk.say("*RST")
    desk.say(order)

    assert "LOCKED" == desk.say("DEAD:STAT?")
    assert desk.say("SYST:ERR?").startswith('-203,"Command protected')
    assert (0, []) == (len(desk.bench.values), [line for line in desk.bench.log if line != "all off"])


def test_dead_man_counts_from_the_last_line_that_was_understood(desk: Desk) -> None:
    """Garbage is no sign of life, an empty line and a query are."""
    desk.say("DEAD:TIME 0.5")
    desk.clock.sleep_until(0.4)
    desk.say("SYST:ECHO? 1")
    desk.clock.sleep_until(0.8)
    desk.say("garbage!")
    assert not desk.state.overdue()
    desk.clock.sleep_until(0.91)
    assert desk.state.overdue()


def test_locking_switches_off_and_tells_why(desk: Desk) -> None:
    """Locking takes everything off, queues the reason, and lasts until the adapter is armed again."""
    desk.say("OUTP:VAL 1,(@101);:REC:ORD 0,1,(@101)")
    desk.state.lock("dead-man: nothing heard for 1.0 s")

    assert {} == desk.bench.values
    assert desk.say("SYST:ERR?").startswith('-300,"Device-specific error;dead-man: nothing heard for 1.0 s')
    assert not desk.state.overdue()
    desk.say("DEAD:ARM")
    desk.say("OUTP:VAL 1,(@101)")
    assert {101: 1.0} == desk.bench.values


def test_recorder_tells_how_long_it_takes(desk: Desk) -> None:
    """A recorder is idle, running with the seconds left, or ready; its data are 16-bit codes, low byte first."""
    assert "IDLE,0" == desk.say("REC:STAT?")
    desk.say("REC:STAR 0.004,1000,(@401)")
    desk.clock.sleep_until(0.001)
    assert ("RUN,0.003", "0.001") == (desk.say("REC:STAT?"), desk.say("REC:TIME?"))
    desk.clock.sleep_until(0.004)
    assert "READY,0" == desk.say("REC:STAT?")
    assert "1000.0,4,0,1,401,0.0005,0.0" == desk.say("REC:FORM?")
    assert "#18\xfd\xff\xfe\xff\xff\xff\x00\x00" == desk.say("REC:DATA?")
    desk.say("*RST")
    assert "IDLE,0" == desk.say("REC:STAT?")


@given(st.text(";:?*(@),#\n\r 0123456789.EABCDOUTPVALRS\x00\xff", max_size=120))
def test_any_line_is_answered_or_queued_and_nothing_is_switched_while_locked(line: str) -> None:
    """Whatever line comes, the locked adapter raises nothing and switches nothing."""
    desk = Desk()
    desk.say(line)

    assert {} == desk.bench.values
