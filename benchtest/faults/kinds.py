"""What can be wrong with a part: one entry a kind, with the technician's sentence, the part to blame, and the repair.

A kind's value is how it is written after the part's name: `K3 contact welded`. The handbook's share of each mode is in
`shares`; how a fault acts on a board is the simulator's business.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Literal

Severity = Literal["dangerous", "out of action", "impaired"]
"""What it means for the machine: something runs unasked, something does not run, something runs poorly."""


class Kind(StrEnum):
    """What is wrong; the value is how it is written after the part's name."""

    WELDED = "contact welded"
    WELD_BREAKS = "contact sticks and breaks free"
    NEVER_CLOSES = "contact never closes"
    MISSES = "contact misses now and then"
    SLOW_OPERATE = "slow operate"
    SLOW_RELEASE = "slow release"
    LONG_BOUNCE = "long bounce"
    CHATTERS = "contact chatters"
    RESISTANCE_HIGH = "contact resistance high"
    FILMED = "contact filmed"
    LEAKS = "open contact leaks"
    COIL_OPEN = "coil open"
    COIL_TURNS = "coil turns shorted"
    DRIVER_OPEN = "driver open"
    DRIVER_SHORTED = "driver shorted"
    SUPPRESSOR_OPEN = "suppressor open"
    SUPPRESSOR_SHORTED = "suppressor shorted"
    BRIDGED = "outputs bridged"
    LAMP_DARK = "lamp dark"
    LAMP_LIT = "lamp always lit"
    LAMP_DIM = "lamp dim"
    LAMP_FLICKERS = "lamp flickers"
    LAMPS_SWAPPED = "lamps swapped"
    CODE_WRONG = "lamp code wrong"
    CODE_IRREGULAR = "lamp code irregular"
    CODE_MISSING = "lamp code missing"
    LINK_SILENT = "silent"
    LINK_BIT_RATE = "wrong bit rate"
    LINK_DROPS = "loses messages now and then"
    HEARTBEAT_LATE = "heartbeat late"
    HEARTBEAT_JITTERS = "heartbeat jittering"
    SCALING_WRONG = "signal scaling wrong"
    LOSS_UNNOTICED = "loss not noticed"
    NO_RECOVERY = "no recovery after loss"
    CODE_DISAGREES = "status disagrees with the lamp"
    FEEDBACK_STUCK = "feedback stuck"
    SUPPLY_SHORTED = "shorted"
    SUPPLY_OPEN = "input open"
    IDLE_HIGH = "idle current high"
    PASS_OPEN = "pass-through open"
    PASS_RESISTIVE = "pass-through resistive"
    RAIL_LOW = "rail low"
    RAIL_HIGH = "rail high"
    RAIL_RIPPLE = "rail ripples"
    INTERLOCK_IGNORED = "ignored"
    INTERLOCK_ALWAYS = "always active"
    PLUG_MISSING = "jumper plug missing"
    PLUG_RESISTIVE = "jumper plug resistive"
    PLUGS_EXCHANGED = "plugs exchanged"
    INPUT_STUCK = "input stuck"
    INPUT_ALWAYS = "input always active"
    INPUT_SLOW = "input threshold shifted"
    INPUT_MISSES = "input not read now and then"
    INPUTS_SWAPPED = "inputs swapped"
    PROBE_OPEN = "probe channel open"
    PROBE_SHORTED = "probe channel shorted"
    PROBE_OFFSET = "probe channel reads too high"
    PROBES_SWAPPED = "left and right swapped"
    WRONG_VARIANT = "fitted instead"
    NOT_RUNNING = "does not start"
    STARTS_LATE = "starts late"


@dataclass(frozen=True, slots=True)
class About:
    """What is to be said of one kind; `{}` stands for the part."""

    sentence: str
    """What has happened, in a technician's words."""
    part: str
    """Class of the part that has failed, as the table of shares calls it."""
    mode: str
    """How it has failed, as the table of shares calls it."""
    repair: str
    """What mends it."""
    severity: Severity


def _about(sentence: str, part: str, mode: str, repair: str, severity: Severity = "out of action") -> About:
    return About(sentence, part, mode, repair, severity)


_RELAY, _DRIVER, _DIODE, _JOINT = "relay", "transistor", "diode", "connection"
_LED, _LOGIC, _LINEAR, _FUSE = "LED", "digital circuit", "linear circuit", "fuse"
_NEW_RELAY, _NEW_PROGRAM = "replace relay {}", "load the program again; else replace the processor"

ABOUT: Final[dict[Kind, About]] = {
    Kind.WELDED: _about(
        "The contact of {} has welded and stays closed whatever its coil does.",
        _RELAY, "short", _NEW_RELAY, "dangerous"),
    Kind.WELD_BREAKS: _about(
        "The contact of {} sticks after a rest and breaks free once it has been worked a few times.",
        _RELAY, "short", _NEW_RELAY, "dangerous"),
    Kind.NEVER_CLOSES: _about(
        "The contact of {} is burnt or bent away and never closes.", _RELAY, "fails to trip", _NEW_RELAY),
    Kind.MISSES: _about(
        "The contact of {} now and then does not close when its coil is energised.",
        _RELAY, "fails to trip", _NEW_RELAY),
    Kind.SLOW_OPERATE: _about(
        "The armature of {} sticks and operates too late.", _RELAY, "fails to trip", _NEW_RELAY, "impaired"),
    Kind.SLOW_RELEASE: _about(
        "The armature of {} sticks and releases too late.", _RELAY, "short", _NEW_RELAY, "impaired"),
    Kind.LONG_BOUNCE: _about(
        "The contact of {} bounces for too long when it closes.", _RELAY, "spurious trip", _NEW_RELAY, "impaired"),
    Kind.CHATTERS: _about(
        "The armature of {} is held too weakly: its contact chatters when it should be at rest on its side.",
        _RELAY, "spurious trip", _NEW_RELAY, "impaired"),
    Kind.RESISTANCE_HIGH: _about(
        "The contact of {} is burnt and its resistance too high.", _RELAY, "fails to trip", _NEW_RELAY, "impaired"),
    Kind.FILMED: _about(
        "The contact of {} has a film from lying about: its first closings are poor and the later ones good.",
        _RELAY, "fails to trip", "work {} a few dozen times under load and test again; else replace it", "impaired"),
    Kind.LEAKS: _about(
        "The open contact of {} leaks: carbon or flux bridges its gap.",
        _RELAY, "short", "clean the board about {}; else replace the relay", "dangerous"),
    Kind.COIL_OPEN: _about(
        "The coil of {} has a broken wire; its driver works, the relay does not.",
        _RELAY, "fails to trip", _NEW_RELAY),
    Kind.COIL_TURNS: _about(
        "Turns of the coil of {} are shorted: it takes too much current and pulls too weakly.",
        _RELAY, "short", _NEW_RELAY, "impaired"),
    Kind.DRIVER_OPEN: _about(
        "The driver transistor of {} does not conduct, or its base resistor is open.",
        _DRIVER, "open", "replace the driver of {}"),
    Kind.DRIVER_SHORTED: _about(
        "The driver transistor of {} has failed short; its coil is on as long as there is power.",
        _DRIVER, "short", "replace the driver of {} and look at its suppressor", "dangerous"),
    Kind.SUPPRESSOR_OPEN: _about(
        "The diode across the coil of {} is open: every release strains its driver with a high voltage.",
        _DIODE, "open", "replace the diode across the coil of {}", "impaired"),
    Kind.SUPPRESSOR_SHORTED: _about(
        "The diode across the coil of {} is shorted: the driver works into a short circuit.",
        _DIODE, "short", "replace the diode across the coil of {} and look at its driver"),
    Kind.BRIDGED: _about(
        "The outputs of {} are bridged: each energises both.",
        _JOINT, "short", "remove the bridge between the drivers of {}", "dangerous"),
    Kind.LAMP_DARK: _about(
        "Lamp {} has failed or is in the wrong way round and never lights.",
        _LED, "open", "replace lamp {}", "impaired"),
    Kind.LAMP_LIT: _about(
        "Lamp {} is lit as long as there is power, whatever it should show.",
        _LOGIC, "stuck high", "look for a bridge at lamp {} and its driver", "impaired"),
    Kind.LAMP_DIM: _about(
        "Lamp {} is dim: aged, or its series resistor has drifted.",
        "resistor", "parameter", "replace lamp {} and its series resistor", "impaired"),
    Kind.LAMP_FLICKERS: _about(
        "Lamp {} flickers: a cold joint.", _JOINT, "intermittent", "solder lamp {} again", "impaired"),
    Kind.LAMPS_SWAPPED: _about(
        "Lamps {} are in each other's place, or their wires are crossed.",
        _JOINT, "crossed", "exchange lamps {}", "impaired"),
    Kind.CODE_WRONG: _about(
        "Lamp {} flashes the code of another state.", _LOGIC, "wrong program", _NEW_PROGRAM, "impaired"),
    Kind.CODE_IRREGULAR: _about(
        "Lamp {} flashes in an irregular rhythm: the processor is disturbed.",
        _LOGIC, "disturbed", "look at the processor's clock and supply", "impaired"),
    Kind.CODE_MISSING: _about(
        "Lamp {} is lit without flashing: no code is put out.", _LOGIC, "stuck high", _NEW_PROGRAM, "impaired"),
    Kind.LINK_SILENT: _about(
        "The board hears its controller but sends nothing on the {}.",
        _LOGIC, "output open", "replace the transceiver of the {}"),
    Kind.LINK_BIT_RATE: _about(
        "The {} of the board runs at another bit rate: it neither hears nor is heard.",
        _LOGIC, "wrong program", "set the bit rate; else replace the crystal of the processor"),
    Kind.LINK_DROPS: _about(
        "The board now and then does not get a message out on the {}.",
        _JOINT, "intermittent", "look at the plug and the joints of the {}", "impaired"),
    Kind.HEARTBEAT_LATE: _about(
        "The board sends its heartbeat on the {} too seldom.", _LOGIC, "wrong program", _NEW_PROGRAM, "impaired"),
    Kind.HEARTBEAT_JITTERS: _about(
        "The board's heartbeat on the {} comes now early, now late.",
        _LOGIC, "disturbed", "look at the processor's clock and supply", "impaired"),
    Kind.SCALING_WRONG: _about(
        "The board reports its supply on the {} with a wrong scale.",
        _LINEAR, "improper output", "replace the divider of the measuring channel", "impaired"),
    Kind.LOSS_UNNOTICED: _about(
        "The board does not notice that the {} to its controller is lost.",
        _LOGIC, "wrong program", _NEW_PROGRAM, "dangerous"),
    Kind.NO_RECOVERY: _about(
        "The board does not come back to the {} after a loss until its power is cycled.",
        _LOGIC, "wrong program", _NEW_PROGRAM),
    Kind.CODE_DISAGREES: _about(
        "The status code that the board reports on the {} is not the one that its lamp shows.",
        _LOGIC, "wrong program", _NEW_PROGRAM, "impaired"),
    Kind.FEEDBACK_STUCK: _about(
        "The board always reports {} as off, whatever it is.",
        _LOGIC, "stuck low", "look at the read-back line of {}", "impaired"),
    Kind.SUPPLY_SHORTED: _about(
        "Supply {} is shorted on the board.", "capacitor", "short", "look for a shorted capacitor or suppressor at {}"),
    Kind.SUPPLY_OPEN: _about(
        "Supply {} does not reach the board behind its terminals: fuse, track or joint open.",
        _FUSE, "open", "replace the fuse of {} and look for why it blew"),
    Kind.IDLE_HIGH: _about(
        "The board takes too much current from {} at rest.",
        "capacitor", "leak", "look for what gets warm on {}", "impaired"),
    Kind.PASS_OPEN: _about(
        "The way of supply {} on to the next board is open.",
        _JOINT, "open", "mend the track or plug that passes {} on"),
    Kind.PASS_RESISTIVE: _about(
        "The way of supply {} on to the next board loses too much voltage.",
        _JOINT, "intermittent", "clean or replace the plug that passes {} on", "impaired"),
    Kind.RAIL_LOW: _about(
        "The regulator of {} gives too little voltage.", _LINEAR, "improper output", "replace the regulator of {}"),
    Kind.RAIL_HIGH: _about(
        "The regulator of {} gives too much voltage.",
        _LINEAR, "improper output", "replace the regulator of {} and test what it feeds"),
    Kind.RAIL_RIPPLE: _about(
        "The capacitor behind the regulator of {} has aged: its voltage ripples.",
        "capacitor", "value", "replace the capacitor of {}", "impaired"),
    Kind.INTERLOCK_IGNORED: _about(
        "The board does not keep the interlock '{}'.", _LOGIC, "wrong program", _NEW_PROGRAM, "dangerous"),
    Kind.INTERLOCK_ALWAYS: _about(
        "The interlock '{}' holds its relay even when its conditions are met.",
        _LOGIC, "input open", _NEW_PROGRAM),
    Kind.PLUG_MISSING: _about(
        "The jumper plug on {} is missing.", _JOINT, "open", "put the jumper plug on {}"),
    Kind.PLUG_RESISTIVE: _about(
        "The jumper plug on {} makes poor contact.", _JOINT, "intermittent", "clean or replace the plug", "impaired"),
    Kind.PLUGS_EXCHANGED: _about(
        "The plugs of {} sit on each other's connector; they have the same size.",
        _JOINT, "crossed", "exchange the plugs of {}"),
    Kind.INPUT_STUCK: _about(
        "Input {} reads as at rest whatever is connected to it.",
        _LOGIC, "input open", "look at the series resistor of {}; else replace the input circuit"),
    Kind.INPUT_ALWAYS: _about(
        "Input {} reads as active whatever is connected to it.",
        _LOGIC, "stuck high", "look at the suppressor of {}; else replace the input circuit", "dangerous"),
    Kind.INPUT_SLOW: _about(
        "The threshold of input {} has shifted: it is read too late.",
        "resistor", "parameter", "replace the divider of {}", "impaired"),
    Kind.INPUT_MISSES: _about(
        "Input {} now and then is not read: a cold joint or a worn plug.",
        _JOINT, "intermittent", "solder the connector of {} again", "impaired"),
    Kind.INPUTS_SWAPPED: _about(
        "Inputs {} are swapped: each is read as the other.", _JOINT, "crossed", "exchange the wires of {}"),
    Kind.PROBE_OPEN: _about(
        "The measuring channel of {} is open, whatever probe is connected.",
        _JOINT, "open", "look for an open track or joint at {}"),
    Kind.PROBE_SHORTED: _about(
        "The measuring channel of {} is shorted, whatever probe is connected.",
        "capacitor", "short", "look for a shorted capacitor at {}"),
    Kind.PROBE_OFFSET: _about(
        "The measuring channel of {} reads too high a resistance: its reference has drifted.",
        "resistor", "parameter", "replace the reference resistor of {}", "impaired"),
    Kind.PROBES_SWAPPED: _about(
        "Probes {} are swapped: left is read as right.", _JOINT, "crossed", "exchange the wires of {}", "impaired"),
    Kind.WRONG_VARIANT: _about(
        "This is another board than it is said to be: {} fitted.",
        _JOINT, "wrong part", "take the board that the machine needs"),
    Kind.NOT_RUNNING: _about(
        "The {} does not start: no clock, no reset, or no program.", _LOGIC, "output open", _NEW_PROGRAM),
    Kind.STARTS_LATE: _about(
        "The {} starts too late after power-up.",
        "capacitor", "value", "replace the capacitor of the reset", "impaired"),
}  # fmt: skip

STEADY: Final = frozenset(
    {
        Kind.WELDED, Kind.NEVER_CLOSES, Kind.COIL_OPEN, Kind.DRIVER_OPEN, Kind.DRIVER_SHORTED, Kind.SUPPRESSOR_OPEN,
        Kind.SUPPRESSOR_SHORTED, Kind.BRIDGED, Kind.LAMP_DARK, Kind.LAMP_LIT, Kind.LAMPS_SWAPPED, Kind.CODE_WRONG,
        Kind.CODE_MISSING, Kind.LINK_SILENT, Kind.LINK_BIT_RATE, Kind.LOSS_UNNOTICED, Kind.NO_RECOVERY,
        Kind.CODE_DISAGREES, Kind.FEEDBACK_STUCK, Kind.SUPPLY_OPEN, Kind.SUPPLY_SHORTED, Kind.PASS_OPEN,
        Kind.INTERLOCK_IGNORED, Kind.INTERLOCK_ALWAYS, Kind.PLUG_MISSING, Kind.PLUGS_EXCHANGED, Kind.INPUT_STUCK,
        Kind.INPUT_ALWAYS, Kind.INPUTS_SWAPPED, Kind.PROBE_OPEN, Kind.PROBE_SHORTED, Kind.PROBES_SWAPPED,
        Kind.WRONG_VARIANT, Kind.NOT_RUNNING,
    }
)  # fmt: skip
"""Kinds that are there or not, and never more or less: one board shows them as well as many."""
