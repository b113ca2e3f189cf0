"""Where a case stands, and which move may be made from there: one table, and nothing that is not in it can happen.

A refused move says which ones are open instead. The picture in docs/depot.md is made from the table.
"""

from collections.abc import Iterator, Mapping
from enum import StrEnum
from typing import Final

from benchtest.errors import WrongMove


class State(StrEnum):
    """Where a case stands."""

    RECEIVED = "received"
    TO_TEST = "to be tested as found"
    IN_ORDER = "found in order"
    NOT_IN_ORDER = "not found in order"
    IN_REPAIR = "in repair"
    HELD = "held at its cost limit"
    AS_LEFT = "tested as left"
    RELEASED = "released"
    BEYOND = "beyond repair"
    RETURNED = "returned"
    SCRAPPED = "scrapped"


class Move(StrEnum):
    """What takes a case from one state to another; the value is how it reads in a sentence."""

    TRIAGE = "triage"
    FOUND_PASS = "as-found run that passes"
    FOUND_OTHER = "as-found run that does not pass"
    REPAIR = "repair"
    REPAIR_OVER = "repair beyond the cost limit"
    LIMIT = "higher cost limit"
    LEFT_PASS = "as-left run that passes"
    LEFT_OTHER = "as-left run that does not pass"
    RELEASE = "release by a second person"
    BEYOND = "declared beyond repair"
    REOPEN = "reopened"
    RETURN = "return"
    SCRAP = "scrapped"


MOVES: Final[Mapping[tuple[State, Move], State]] = {
    (State.RECEIVED, Move.TRIAGE): State.TO_TEST,
    (State.RECEIVED, Move.BEYOND): State.BEYOND,
    (State.TO_TEST, Move.FOUND_PASS): State.IN_ORDER,
    (State.TO_TEST, Move.FOUND_OTHER): State.NOT_IN_ORDER,
    (State.TO_TEST, Move.BEYOND): State.BEYOND,
    (State.IN_ORDER, Move.FOUND_PASS): State.IN_ORDER,
    (State.IN_ORDER, Move.FOUND_OTHER): State.NOT_IN_ORDER,  # a fault that shows now and then
    (State.IN_ORDER, Move.REPAIR): State.IN_REPAIR,  # a bulletin, or a part known to be weak
    (State.IN_ORDER, Move.REPAIR_OVER): State.HELD,
    (State.IN_ORDER, Move.RELEASE): State.RELEASED,  # no fault found
    (State.NOT_IN_ORDER, Move.FOUND_PASS): State.NOT_IN_ORDER,  # a later success never erases a first failure
    (State.NOT_IN_ORDER, Move.FOUND_OTHER): State.NOT_IN_ORDER,
    (State.NOT_IN_ORDER, Move.REPAIR): State.IN_REPAIR,
    (State.NOT_IN_ORDER, Move.REPAIR_OVER): State.HELD,
    (State.NOT_IN_ORDER, Move.BEYOND): State.BEYOND,
    (State.IN_REPAIR, Move.REPAIR): State.IN_REPAIR,
    (State.IN_REPAIR, Move.REPAIR_OVER): State.HELD,
    (State.IN_REPAIR, Move.LEFT_PASS): State.AS_LEFT,
    (State.IN_REPAIR, Move.LEFT_OTHER): State.IN_REPAIR,
    (State.IN_REPAIR, Move.BEYOND): State.BEYOND,
    (State.HELD, Move.LIMIT): State.IN_REPAIR,
    (State.HELD, Move.BEYOND): State.BEYOND,
    (State.AS_LEFT, Move.LEFT_PASS): State.AS_LEFT,
    (State.AS_LEFT, Move.LEFT_OTHER): State.IN_REPAIR,
    (State.AS_LEFT, Move.REPAIR): State.IN_REPAIR,
    (State.AS_LEFT, Move.REPAIR_OVER): State.HELD,
    (State.AS_LEFT, Move.RELEASE): State.RELEASED,
    (State.RELEASED, Move.REOPEN): State.IN_REPAIR,  # tested as left once more before it goes
    (State.RELEASED, Move.RETURN): State.RETURNED,
    (State.BEYOND, Move.RETURN): State.RETURNED,  # unrepaired, and said so
    (State.BEYOND, Move.SCRAP): State.SCRAPPED,
} | {
    (state, Move.LIMIT): state
    for state in (State.RECEIVED, State.TO_TEST, State.IN_ORDER, State.NOT_IN_ORDER, State.IN_REPAIR, State.AS_LEFT)
}

OVER: Final = frozenset({State.RETURNED, State.SCRAPPED})
"""The board has left the depot; nothing follows but the erasure of what was personal."""

HOW: Final[Mapping[Move, str]] = {
    Move.TRIAGE: "benchtest depot triage {order}",
    Move.FOUND_PASS: "benchtest run … --work-order {order}",
    Move.FOUND_OTHER: "benchtest run … --work-order {order}",
    Move.REPAIR: "benchtest depot repair {order}",
    Move.REPAIR_OVER: "benchtest depot repair {order}",
    Move.LIMIT: "benchtest depot limit {order}",
    Move.LEFT_PASS: "benchtest run … --work-order {order}",
    Move.LEFT_OTHER: "benchtest run … --work-order {order}",
    Move.RELEASE: "benchtest depot release {order}",
    Move.BEYOND: "benchtest depot beyond-repair {order}",
    Move.REOPEN: "benchtest depot reopen {order}",
    Move.RETURN: "benchtest depot return {order}",
    Move.SCRAP: "benchtest depot scrap {order}",
}
"""The command that makes each move."""

_MEANT: Final[Mapping[Move, str]] = {
    Move.FOUND_PASS: "as-found run",
    Move.FOUND_OTHER: "as-found run",
    Move.LEFT_PASS: "as-left run",
    Move.LEFT_OTHER: "as-left run",
    Move.REPAIR_OVER: "repair",
}
"""Moves that differ by what comes out, as a person would ask for them."""
_REFUSED: Final[Mapping[str, str]] = {
    Move.BEYOND: "declaring beyond repair",
    Move.REOPEN: "reopening",
    Move.SCRAP: "scrapping",
}
"""Moves as they read after a no."""

_FIRST: Final = (
    Move.TRIAGE, Move.FOUND_PASS, Move.LEFT_PASS, Move.RELEASE, Move.RETURN, Move.REPAIR, Move.LIMIT, Move.BEYOND,
    Move.SCRAP, Move.REOPEN,
)  # fmt: skip
"""The usual way first."""


def after(state: State, move: Move, *, order: str) -> State:
    """Return the state after a move. Raises WrongMove, which names the right ones, when the table does not have it."""
    try:
        return MOVES[state, move]
    except KeyError:
        raise refused(state, asked(move), order=order) from None


def asked(move: Move) -> str:
    """Return a move as a person asks for it, before its outcome is known."""
    return _MEANT.get(move, move.value)


def ways_on(state: State, *, order: str) -> dict[str, str]:
    """Return what can be done next, the usual way first, each with its command."""
    moves = (move for move in _FIRST if (state, move) in MOVES and not (move is Move.LIMIT and state is not State.HELD))
    return {asked(move): HOW[move].format(order=order) for move in moves}


def refused(state: State, wanted: str, *, order: str, why: str = "") -> WrongMove:
    """Return the error for a move that cannot be made now: what is right instead, or why not although it is."""
    if why:
        return WrongMove(f"work order {order} ({state}): no {wanted}, for {why}")
    ways = [f"{what}: {how}" for what, how in ways_on(state, order=order).items()]
    right = (
        "\n".join(["next comes", *(f"  {way}" for way in ways)]) if ways else "a board that comes back is a new intake"
    )
    return WrongMove(f"work order {order} is {state}: no {_REFUSED.get(wanted, wanted)} now\n{right}")


def picture() -> Iterator[str]:
    """Yield the table as a Mermaid state diagram, line by line."""
    names = {state: state.name.lower() for state in State}
    yield "stateDiagram-v2"
    yield from (f"    {name}: {state.value}" for state, name in names.items())
    yield f"    [*] --> {names[State.RECEIVED]}: intake"
    for (state, move), follows in MOVES.items():
        if not (move is Move.LIMIT and state is follows):
            yield f"    {names[state]} --> {names[follows]}: {move.value}"
    yield from (f"    {names[state]} --> [*]" for state in State if state in OVER)
