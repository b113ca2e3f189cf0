"""The doctor looks at a small copy of what the kernel lists, drawn up here, and at this computer as it is."""

import json
import os
from pathlib import Path

import pytest

from benchtest.cli import entry
from benchtest.doctor import Line, Person, State, examine

STRANGER = Person(user=12345, groups=frozenset({12345}))


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """A computer without anything plugged in."""
    for name in ("sys/class/tty", "sys/class/net", "proc", "dev", "run/lock", "run/udev/data"):
        (tmp_path / name).mkdir(parents=True)
    return tmp_path


def plug_in(
    root: Path,
    *,
    name: str = "ttyUSB0",
    socket: str = "1-2",
    serial: str = "A7",
    latency: str = "16",
    control: str = "auto",
) -> None:
    """Plug a USB serial adapter in, as sysfs shows it."""
    device = root / "sys/devices/usb1" / socket
    line = device / f"{socket}:1.0" / name
    (device / "power").mkdir(parents=True)
    line.mkdir(parents=True)
    facts = {"idVendor": "1209", "idProduct": "0001", "serial": serial, "manufacturer": "Own", "product": "Relay box"}
    for key, value in facts.items():
        (device / key).write_text(value + "\n", encoding="ascii")
    (device / "power/control").write_text(control + "\n", encoding="ascii")
    (line / "latency_timer").write_text(latency + "\n", encoding="ascii")
    (root / "sys/class/tty" / name).mkdir()
    (root / "sys/class/tty" / name / "device").symlink_to(line)
    (root / "dev" / name).write_bytes(b"")
    (root / "dev" / name).chmod(0o660)


def run_program(root: Path, number: int, name: str, *files: Path) -> None:
    """Let a program run, with files open."""
    (root / "proc" / str(number) / "fd").mkdir(parents=True)
    (root / "proc" / str(number) / "comm").write_text(name + "\n", encoding="ascii")
    for place, file in enumerate(files):
        (root / "proc" / str(number) / "fd" / str(place)).symlink_to(file)


def about(lines: tuple[Line, ...], topic: str) -> Line:
    """Return the one line about a topic."""
    (found,) = [line for line in lines if line.topic == topic]
    return found


def test_a_port_is_told_by_its_usb_identity(root: Path) -> None:
    """Vendor, product, maker and serial number."""
    plug_in(root)

    assert "USB 1209:0001 Own Relay box, serial number A7" == about(examine(root=root), "/dev/ttyUSB0").found


@pytest.mark.parametrize("serial", ["", "0", "00000000"])
def test_a_serial_number_of_zeros_is_none(root: Path, serial: str) -> None:
    """The port is then told by the socket that it is in."""
    plug_in(root, serial=serial)

    assert "no serial number, told by its socket 1-2" in about(examine(root=root), "/dev/ttyUSB0").found


def test_two_ports_that_cannot_be_told_apart_are_both_named(root: Path) -> None:
    """Clones that share a serial number: the path in the socket tells them."""
    plug_in(root)
    plug_in(root, name="ttyUSB1", socket="1-3")
    line = about(examine(root=root), "/dev/ttyUSB1 identity")

    assert State.WARN is line.state
    assert "/dev/ttyUSB0 in socket 1-2, /dev/ttyUSB1 in socket 1-3" in line.found


def test_a_user_outside_the_group_is_given_the_one_command(root: Path) -> None:
    """The group is that of the device file, whatever it is called here; nobody is told to become root."""
    plug_in(root)
    lines = examine(root=root, person=STRANGER)
    line = about(lines, "/dev/ttyUSB0 permission")

    assert State.WARN is line.state
    assert line.mend.startswith("sudo usermod -aG ")
    assert line.mend.endswith('"$USER"')
    assert not any("sudo benchtest" in one.mend or "sudo su" in one.mend for one in lines)


@pytest.mark.parametrize(
    ("mode", "person", "state"),
    [
        (0o660, Person(user=0, groups=frozenset()), State.OK),
        (0o666, STRANGER, State.OK),
        (0o600, STRANGER, State.WARN),
        (0o660, Person(user=12345, groups=frozenset({os.getgid()})), State.OK),
        (0o640, Person(user=12345, groups=frozenset({os.getgid()})), State.WARN),
    ],
)
def test_permission_is_that_of_the_mode(root: Path, mode: int, person: Person, state: State) -> None:
    """Owner, group, others, as POSIX has it (IEEE Std 1003.1-2017, 4.5, from memory)."""
    plug_in(root)
    (root / "dev/ttyUSB0").chmod(mode)
    os.chown(root / "dev/ttyUSB0", -1, os.getgid())

    assert state is about(examine(root=root, person=person), "/dev/ttyUSB0 permission").state


@pytest.mark.parametrize(("latency", "state"), [("16", State.WARN), ("1", State.OK), ("2", State.OK), ("x", State.OK)])
def test_the_latency_timer_is_said_and_mended(root: Path, latency: str, state: State) -> None:
    """Sixteen milliseconds wait at every exchange; a driver without a timer is fine."""
    plug_in(root, latency=latency)
    line = about(examine(root=root), "/dev/ttyUSB0 latency")

    assert state is line.state
    assert (state is State.WARN) == line.mend.startswith("setserial /dev/ttyUSB0 low_latency")


@pytest.mark.parametrize(("control", "state"), [("auto", State.WARN), ("on", State.OK), ("", State.UNKNOWN)])
def test_power_saving_is_looked_at(root: Path, control: str, state: State) -> None:
    """A device that may be put to sleep gives a warning with the command for its own socket."""
    plug_in(root, control=control)
    line = about(examine(root=root), "/dev/ttyUSB0 power saving")

    assert state is line.state
    assert (state is State.WARN) == ("/sys/bus/usb/devices/1-2/power/control" in line.mend)


def test_a_modem_service_that_grabs_ports_is_found(root: Path) -> None:
    """The rule names this adapter alone, and keeps it awake too."""
    plug_in(root)
    run_program(root, 70, "ModemManager")
    line = about(examine(root=root), "/dev/ttyUSB0 other services")

    assert State.WARN is line.state
    assert 'ATTRS{idVendor}=="1209", ATTRS{idProduct}=="0001", ENV{ID_MM_DEVICE_IGNORE}="1"' in line.mend


def test_no_service_is_no_trouble(root: Path) -> None:
    """Other programs are of no interest."""
    plug_in(root)
    run_program(root, 70, "bash")

    assert State.OK is about(examine(root=root), "/dev/ttyUSB0 other services").state


def test_a_program_that_has_the_port_open_is_named(root: Path) -> None:
    """By number and name."""
    plug_in(root)
    run_program(root, 71, "terminal", root / "dev/ttyUSB0", root / "dev/null")
    line = about(examine(root=root), "/dev/ttyUSB0 in use")

    assert "process 71 (terminal) has it open" == line.found


def test_a_lock_is_held_while_the_kernel_says_so(root: Path) -> None:
    """Two lock files of the bench; only the one whose inode is in /proc/locks is held, and its note says by whom."""
    for name in ("held", "free"):
        (root / f"run/lock/benchtest-{name}.lock").write_bytes(b"")
    note = {"pid": 71, "person": "eva", "command": "x", "since": "2026-11-25T20:00:00+00:00", "bench": "b"}
    (root / "run/lock/benchtest-held.holder").write_text(json.dumps(note), encoding="utf-8")
    inode = (root / "run/lock/benchtest-held.lock").stat().st_ino
    (root / "proc/locks").write_text(f"1: FLOCK  ADVISORY  WRITE 71 fe:00:{inode} 0 EOF\n", encoding="ascii")
    lines = [line for line in examine(root=root) if line.topic.startswith("lock ")]

    assert ["lock held"] == [line.topic for line in lines]
    assert "held by process 71 of eva since 2026-11-25T20:00:00+00:00" == lines[0].found


def test_a_lock_file_of_a_program_that_has_ended_is_left_over(root: Path) -> None:
    """`LCK..` files keep their program's number; the one that runs holds its port."""
    (root / "run/lock/LCK..ttyUSB0").write_text("        71\n", encoding="ascii")
    (root / "run/lock/LCK..ttyUSB1").write_text("        72\n", encoding="ascii")
    run_program(root, 72, "terminal")
    lines = examine(root=root)

    assert "rm /run/lock/LCK..ttyUSB0" == about(lines, "lock LCK..ttyUSB0").mend
    assert State.OK is about(lines, "lock LCK..ttyUSB1").state


def test_a_can_interface_that_is_down_is_said(root: Path) -> None:
    """Type 280 among the network interfaces."""
    for name, kind, state in (("can0", "280", "down"), ("eth0", "1", "down")):
        (root / "sys/class/net" / name).mkdir()
        (root / "sys/class/net" / name / "type").write_text(kind, encoding="ascii")
        (root / "sys/class/net" / name / "operstate").write_text(state, encoding="ascii")
    lines = examine(root=root)

    assert State.WARN is about(lines, "CAN interface can0").state
    assert not [line for line in lines if "eth0" in line.topic]


def test_a_laptop_on_battery_is_told_to_be_plugged_in(root: Path) -> None:
    """Only while it discharges."""
    battery = root / "sys/class/power_supply/BAT0"
    battery.mkdir(parents=True)
    (battery / "type").write_text("Battery\n", encoding="ascii")
    (battery / "status").write_text("Discharging\n", encoding="ascii")

    assert State.WARN is about(examine(root=root), "power").state


def test_where_nothing_is_listed_it_says_so(tmp_path: Path) -> None:
    """A system without /sys, /proc and /dev: nothing is judged that could not be seen."""
    lines = examine(root=tmp_path)

    assert State.UNKNOWN is about(lines, "serial ports").state
    assert State.UNKNOWN is about(lines, "locks").state
    assert State.UNKNOWN is about(lines, "CAN interfaces").state
    assert State.OK is about(lines, "clock").state


def test_strange_bytes_in_a_description_stay_on_their_line(root: Path) -> None:
    """A device's own words cannot colour a terminal or begin a line."""
    plug_in(root, serial="A\x1b[31m\nB")
    text = about(examine(root=root), "/dev/ttyUSB0").found

    assert text.isprintable()
    assert "serial number A?[31m?B" in text


def test_the_command_says_what_it_found_here(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Exit 0 or 5 as the lines say, and the same as data."""
    code = entry(["doctor", "--runs", str(tmp_path), "--json"])
    told = json.loads(capsys.readouterr().out)

    assert (5 if any(line["state"] == "warn" for line in told) else 0) == code
    assert all(line["mend"] for line in told if line["state"] == "warn")
    assert {"clock", "disk", "python-can"} <= {line["topic"] for line in told}
