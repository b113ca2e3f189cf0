"""The rule about noise on the wire: whatever arrives, nothing is switched, and the adapter still knows its name.

Only for drivers that can be asked without a reset. A modem service, a wrong baud rate, a terminal left open: all send
what no adapter expects (common practice, no source).
"""

from typing import Final

from benchtest.adapters.glance import GLANCES
from benchtest.adapters.ports import open_port
from benchtest.conformance.case import Finding, State
from benchtest.errors import RigError
from benchtest.fixture.document import Adapter, HardLimits

NOISE: Final = (
    b"\x00\xff\xfe\x80\r\n",
    b"AT+CGMI\r\nATZ\r\n",
    b"OUTPut:VALue 1,(@\n",
    b"#9999999999\n",
    b";;;;\n" * 20,
    b"x" * 5000 + b"\n",
)
SENTENCE: Final = "noise on the wire switches nothing, and the adapter still answers with its name"


def noise(adapter: Adapter, port: str, limits: HardLimits) -> Finding:
    """Send noise to an adapter that nobody has opened, and look whether it minds."""
    glance = GLANCES.get(adapter.driver)
    if glance is None:
        why = f"noise cannot be made on driver {adapter.driver!r}"
        return Finding(rule="noise", sentence=SENTENCE, state=State.NOT_TRIED, found=(why,))
    wrong: list[str] = []
    try:
        with open_port(port, baud=round(adapter.baud)) as line:
            for some in NOISE:
                line.write(some)
        if on := glance(adapter, port, limits):
            wrong.append(f"energised afterwards: {sorted(on)}")
    except RigError as problem:
        wrong.append(f"{type(problem).__name__}: {problem}")
    return Finding(rule="noise", sentence=SENTENCE, state=State.BROKEN if wrong else State.HOLDS, found=tuple(wrong))
