"""The adapter's side of docs/adapter-protocol.md: a line comes in, the bench behind it acts, a reply goes out.

Owns no port. A line is split and every header looked up before anything of it is carried out, so that garbage switches
nothing; after a refusal nothing more is switched in the same line, and its queries are still answered.
"""

from functools import lru_cache

from benchtest.errors import AdapterRefused
from benchtest.simulator import syntax
from benchtest.simulator.commands import COMMANDS, Command
from benchtest.simulator.syntax import Asked, Refused
from benchtest.simulator.wire_state import WireState


def answer(state: WireState, line: bytes) -> bytes:
    """Carry out one line, given without its line feed; return the reply with its line feed, or nothing."""
    try:
        units = _understood(line)
    except Refused as refusal:
        state.report(refusal.code, refusal.text)
        return b""
    state.hear()
    replies: list[bytes] = []
    refused = False
    for unit, command in units:
        if refused and not unit.query:
            continue
        reply = _carried_out(state, unit, command)
        refused = refused or reply is None
        if unit.query and reply is not None:
            replies.append(reply)
    state.hear()  # what the answer took is not counted against the host
    return b";".join(replies) + b"\n" if replies else b""


def _understood(line: bytes) -> list[tuple[Asked, Command]]:
    try:
        text = line.removesuffix(b"\r").decode("ascii")
    except UnicodeDecodeError:
        raise Refused(-102, "a byte that is not ASCII") from None
    units = syntax.split(text) if text.strip() else ()
    return [(unit, _looked_up(unit)) for unit in units]


def _looked_up(unit: Asked) -> Command:
    command = _command(unit.header, query=unit.query)
    if len(unit.arguments) != command.arguments:
        code = -109 if len(unit.arguments) < command.arguments else -108
        raise Refused(code, f"{unit.header[:40]} takes {command.arguments}")
    return command


@lru_cache(maxsize=512)
def _command(header: str, *, query: bool) -> Command:
    for pattern, command in COMMANDS.items():
        if pattern.endswith("?") is query and syntax.matches(header, pattern.removesuffix("?")):
            return command
    raise Refused(-113, header[:40] + "?" * query)


def _carried_out(state: WireState, unit: Asked, command: Command) -> bytes | None:
    """Return the reply, empty for a command; None when it was refused, and then the queue says why."""
    try:
        return command.act(state, *unit.arguments)
    except Refused as refusal:
        state.report(refusal.code, refusal.text)
    except AdapterRefused as refusal:
        state.report(-200, f"{syntax.TEXTS[-200]};{refusal}")
    return None
