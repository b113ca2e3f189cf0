"""Adapters are found by serial number, then socket, then by asking; two that fit are refused, both named."""

from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.adapters.finding import Described, Found, find_port, listed, matching
from benchtest.cli.documents import Prepared
from benchtest.clock import RealClock
from benchtest.errors import AdapterMissing, PlanError, RigError, RigInUse
from benchtest.fixture.document import Adapter, Fixture
from benchtest.rig.lock import Locks, locks
from benchtest.rig.places import places

LEFT = Described(device="/dev/ttyUSB0", serial="A1", location="1-1.1", product="Converter")
RIGHT = Described(device="/dev/ttyUSB1", serial="A2", location="1-1.2", product="Converter")
CLONE = Described(device="/dev/ttyUSB2", serial="A1", location="1-1.3", product="Converter")
BARE = Described(device="/dev/ttyACM0", location="2-1")
NOBODY = Described(device="/dev/ttyUSB9")


def adapter(**keys: str) -> Adapter:
    """Return an adapter as a fixture describes it."""
    return Adapter.model_validate({"driver": "scpi", **keys})


def never(port: str) -> str:
    """Fail: nothing had to be asked."""
    raise AssertionError(port)


@pytest.mark.parametrize(
    ("keys", "ports", "found"),
    [
        ({"usb_serial": "A2"}, (LEFT, RIGHT), Found(port="/dev/ttyUSB1", how="by USB serial number 'A2'")),
        ({"usb_location": "2-1"}, (LEFT, BARE), Found(port="/dev/ttyACM0", how="by USB socket '2-1'")),
        (  # the serial number is enough: the adapter was plugged in elsewhere
            {"usb_serial": "A2", "usb_location": "9-9"},
            (LEFT, RIGHT),
            Found(port="/dev/ttyUSB1", how="by USB serial number 'A2'"),
        ),
        (
            {"usb_serial": "A1", "usb_location": "1-1.3"},
            (LEFT, RIGHT, CLONE),
            Found(port="/dev/ttyUSB2", how="by USB serial number 'A1' and by USB socket '1-1.3'"),
        ),
    ],
)
def test_what_fits_alone_is_found_without_asking(
    keys: dict[str, str], ports: tuple[Described, ...], found: Found
) -> None:
    """Serial number first, then the socket; the record says which."""
    assert found == find_port("io", adapter(identity="Example,Box", **keys), ports, ask=never)


@pytest.mark.parametrize(
    ("keys", "ports"),
    [({"usb_serial": "A3"}, (LEFT, RIGHT)), ({"usb_serial": "A3", "usb_location": "1-1.1"}, (LEFT, RIGHT))],
)
def test_a_stated_serial_number_that_is_missing_is_never_made_good(
    keys: dict[str, str], ports: tuple[Described, ...]
) -> None:
    """Another adapter in the right socket is another adapter; the refusal lists what is there."""
    with pytest.raises(AdapterMissing, match=r"no adapter io by USB serial number 'A3' .*ttyUSB0.*ttyUSB1"):
        find_port("io", adapter(**keys), ports, ask=None)


@pytest.mark.parametrize("keys", [{"usb_serial": "A1"}, {"usb_serial": "A1", "identity": "Example,Box"}])
def test_two_that_fit_are_refused_and_both_are_named(keys: dict[str, str]) -> None:
    """Clones share a serial number; nobody chooses for the operator."""
    with pytest.raises(RigError, match=r"/dev/ttyUSB0 .* or /dev/ttyUSB2 .*--port io="):
        find_port("io", adapter(**keys), (LEFT, RIGHT, CLONE), ask=None)


def test_asking_tells_clones_apart() -> None:
    """Both are asked, and the one that is who it must be is it."""
    answers = {"/dev/ttyUSB0": "Other,Box,1,1", "/dev/ttyUSB2": "Example,Box,7,1.0"}
    found = find_port(
        "io", adapter(usb_serial="A1", identity="Example,Box"), (LEFT, RIGHT, CLONE), ask=answers.__getitem__
    )

    assert Found(port="/dev/ttyUSB2", how="by USB serial number 'A1', then by asking") == found


def test_two_that_answer_alike_are_refused() -> None:
    """Asking does not help when both are of one kind."""
    with pytest.raises(RigError, match=r"ttyUSB0 .* or /dev/ttyUSB1 .*each answers as 'Example,Box'"):
        find_port("io", adapter(identity="Example,Box"), (LEFT, RIGHT), ask=lambda _: "Example,Box,1,1")


def test_an_adapter_that_nobody_is_says_what_was_heard() -> None:
    """Every port with its answer."""
    with pytest.raises(AdapterMissing, match=r"expected 'Example,Box', /dev/ttyUSB0 answers 'Other'; /dev/ttyUSB1"):
        find_port("io", adapter(identity="Example,Box"), (LEFT, RIGHT), ask=lambda _: "Other")


descriptions = st.lists(
    st.builds(
        Described,
        device=st.sampled_from([f"/dev/tty{n}" for n in range(6)]),
        serial=st.sampled_from(["", "0", "A1", "A2"]),
        location=st.sampled_from(["", "1-1", "1-2"]),
        product=st.just(""),
    ),
    unique_by=lambda port: port.device,
    max_size=6,
)


@given(ports=descriptions, serial=st.sampled_from(["", "0", "A1"]), location=st.sampled_from(["", "1-1"]))
def test_what_is_found_always_fits_what_was_stated(ports: list[Described], serial: str, location: str) -> None:
    """Whatever is plugged in: a single match has the serial number, or else the socket; otherwise it is refused."""
    about = adapter(usb_serial=serial, usb_location=location)
    try:
        found = find_port("io", about, ports)
    except RigError:
        return
    (port,) = (port for port in ports if port.device == found.port)

    assert port.serial == serial or not serial
    assert port.location == location or serial
    assert 1 == len([other for other in ports if other in matching("io", about, ports)[0]])


def test_listing_opens_nothing_and_names_usb_ports_only() -> None:
    """Whatever this computer has, the list is of described USB ports."""
    assert all(port.device for port in listed())


# ---------------------------------------------------------------- with locks, and over real wires


def fixture_with(prepared: Prepared, **keys: str) -> Fixture:
    """Return a fixture whose only adapter is described by these keys."""
    return prepared.fixture.fixture.model_copy(update={"adapters": {"io": adapter(**keys)}})


def found_at(fixture: Fixture, ports: Sequence[Described], held: Locks) -> Found:
    """Return where the adapter of the fixture is, on a computer with these ports."""
    return places(["io"], fixture, {}, held=held, clock=RealClock(), described=lambda: ports)["io"]


def test_an_adapter_of_which_nothing_is_known_is_a_plan_problem(carwash: Prepared, tmp_path: Path) -> None:
    """As before: say where it is. Nothing is sent to ports that nobody named."""
    with locks("Mine", tmp_path) as held, pytest.raises(PlanError, match="adapter io has no port"):
        found_at(fixture_with(carwash), (LEFT,), held)
    with locks("Mine", tmp_path) as held, pytest.raises(PlanError, match="adapter io has no port"):
        found_at(fixture_with(carwash, identity="Example"), (), held)


def test_what_is_found_is_held(carwash: Prepared, tmp_path: Path) -> None:
    """The port is locked when its place is known, before it is opened."""
    fixture = fixture_with(carwash, usb_serial="A2")
    with locks("Mine", tmp_path) as mine, locks("Other", tmp_path) as other:
        assert "/dev/ttyUSB1" == found_at(fixture, (LEFT, RIGHT), mine).port
        with pytest.raises(RigInUse):
            found_at(fixture, (LEFT, RIGHT), other)
