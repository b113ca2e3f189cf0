"""A connector table in CSV → a draft: one row per pin, as a drawing or a cable list has it.

Columns, in any order, the first three needed; a semicolon or a tab may stand for the comma:

    connector  X1
    pin        1
    role       what the pin is for, a word of `ROLES`
    name       whose pin it is: a supply, a rail, an input, a relay; pins of one name belong together
    use        in words: the load of a relay, the use of an input or connector
    value      a voltage (supply, level input, rail), or `closed` for a dry contact that is closed at rest
    limit      current limit of a supply
    to         the other terminal where it is not in the table under the same name, such as a common return: X1.2
    command    input that energises the relay
    lamp       lamp that shows the relay or the supply

Everything wrong is reported together, each with its row.
"""

import csv
import io
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Literal

from benchtest.documents import nearest_or_list, read_bytes
from benchtest.errors import DocumentError, Problem
from benchtest.quantities import CURRENT, VOLTAGE, parse, spelled
from benchtest.sketch.draft import Control, Draft, Feed, Plug, Switch
from benchtest.terminals import Pair, Terminal

NAME: Final = re.compile(r"[A-Za-z][A-Za-z0-9_ -]{0,39}")
NEEDED: Final = ("connector", "pin", "role")
COLUMNS: Final = (*NEEDED, "name", "use", "value", "limit", "to", "command", "lamp")
ROLES: Final = {
    "supply +": "positive pin of a d.c. supply",
    "supply -": "its return",
    "supply ac": "both pins of an a.c. supply",
    "rail": "a voltage that the board makes; 'to' names its return",
    "level input": "an input that takes a voltage; 'to' names its return",
    "dry input": "both pins of an input for a switch",
    "common": "common of a contact",
    "make": "its normally open terminal",
    "break": "its normally closed terminal",
    "coil": "a test pad on a coil; 'to' names its return",
    "bridge": "both pins that a jumper plug joins, under one name",
    "link": "both pins of the link to a controller, the positive one first",
    "empty": "a pin of a connector that stays empty",
    "spare": "nothing",
}
TEMPLATE: Final = """\
connector,pin,role,name,use,value,limit,to,command,lamp
X1,1,supply +,main,supply,24 V,1 A,,,D5
X1,2,supply -,main,,,,,,
X2,1,level input,start,start demand,24 V,,X1.2,,
X2,2,spare,,,,,,,
X2,3,dry input,door_shut,door switch,closed,,,,
X2,4,dry input,door_shut,,,,,,
X3,1,common,K1,conveyor motor,,,,start,D1
X3,2,make,K1,,,,,,
X4,1,bridge,address,jumper plug,,,,,
X4,2,bridge,address,,,,,,
"""
"""A small board to begin from; it makes a profile as it stands."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One pin."""

    line: int
    at: Terminal
    role: str
    cells: dict[str, str]

    def __getitem__(self, column: str) -> str:
        return self.cells.get(column, "")


@dataclass(slots=True)
class _Reading:
    """A table while it is read, and what is wrong with it."""

    path: Path
    problems: list[Problem] = field(default_factory=list)

    def wrong(self, line: int, column: str, message: str, hint: str = "") -> None:
        self.problems.append(Problem(file=self.path, line=line, column=1, where=column, message=message, hint=hint))


def read_table(path: Path, *, part: str, name: str) -> Draft:
    """Return the draft of a board from its connector table. Raises DocumentError with everything wrong in it."""
    reading = _Reading(path)
    rows = _rows(reading)
    draft = _draft(rows, reading, part=part, name=name) if not reading.problems else None
    if reading.problems or draft is None:
        raise DocumentError(reading.problems)
    return draft


def _rows(reading: _Reading) -> list[Row]:
    try:
        text = read_bytes(reading.path).decode("utf-8-sig")
    except UnicodeDecodeError:
        reading.wrong(0, "", "is not UTF-8 text", "export the table as CSV, UTF-8")
        return []
    head = text.split("\n", 1)[0]
    separator = max(",;\t", key=head.count)
    table = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    try:
        columns = [cell.strip().casefold() for cell in next(table)]
        if not _columns_are_known(columns, reading):
            return []
        read = [_row(table.line_num, columns, cells, reading) for cells in table if any(cell.strip() for cell in cells)]
    except csv.Error as cause:
        reading.wrong(table.line_num, "", f"is not a row of CSV: {cause}", "look for a quote that is not closed")
        return []
    rows = [row for row in read if row is not None]
    if not read:
        reading.wrong(0, "", "has no pins", "one row per pin; --template shows a table")
    _each_pin_once(rows, reading)
    return rows


def _columns_are_known(columns: list[str], reading: _Reading) -> bool:
    for column in columns:
        if column not in COLUMNS:
            reading.wrong(1, column, f"{column!r} is not a column", nearest_or_list(column, COLUMNS, what="columns"))
        elif columns.count(column) > 1:
            reading.wrong(1, column, f"the column {column!r} is there twice")
    for column in NEEDED:
        if column not in columns:
            reading.wrong(1, column, f"the column {column!r} is missing", "--template shows a table")
    return not reading.problems


def _row(line: int, columns: list[str], cells: list[str], reading: _Reading) -> Row | None:
    if len(cells) > len(columns):
        reading.wrong(line, "", f"{len(cells)} cells under {len(columns)} columns", "a comma in text needs quotes")
        return None
    found = dict(zip(columns, (re.sub(r"\s+", " ", cell).strip() for cell in cells), strict=False))
    role = found.get("role", "").casefold()
    if role not in ROLES:
        reading.wrong(line, "role", f"{role!r} is not a role", nearest_or_list(role, ROLES, what="roles"))
        return None
    try:
        at = Terminal.parse(f"{found.get('connector', '')}.{found.get('pin', '')}")
    except ValueError as problem:
        reading.wrong(line, "connector", str(problem))
        return None
    if role not in {"spare", "empty", "link"} and not found.get("name"):
        reading.wrong(line, "name", f"whose {role} is it?", "a name, such as K1 or main")
        return None
    if found.get("name") and not NAME.fullmatch(found["name"]):
        reading.wrong(line, "name", f"{found['name']!r} is not a name", "a letter first, then letters, digits, _ and -")
        return None
    return Row(line=line, at=at, role=role, cells=found)


def _each_pin_once(rows: Iterable[Row], reading: _Reading) -> None:
    seen: dict[Terminal, int] = {}
    for row in rows:
        shared = seen.setdefault(row.at, row.line)
        if shared != row.line:
            reading.wrong(row.line, "pin", f"{row.at} is in line {shared} already", "one row per pin")


def _draft(rows: list[Row], reading: _Reading, *, part: str, name: str) -> Draft:
    named: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        if row.role not in {"spare", "empty", "link"}:
            named[row["name"]].append(row)
    things = [_Thing(who, pins, reading) for who, pins in named.items()]
    feeds = tuple(feed for thing in things if (feed := thing.feed()) is not None)
    if not any(feed.kind == "dc" for feed in feeds) and not reading.problems:
        reading.wrong(0, "role", "there is no d.c. supply", "give it a row 'supply +' and a row 'supply -'")
    controls = tuple(control for thing in things if (control := thing.control()) is not None)
    switches = tuple(switch for thing in things if (switch := thing.switch()) is not None)
    for thing in things:
        thing.check_command({control.name: control for control in controls})
    links = [row.at for row in rows if row.role == "link"]
    link = Pair(links[0], links[1]) if len(links) == 2 else None
    plugs = tuple(_plugs(rows, things))
    return Draft(part=part, name=name, plugs=plugs, feeds=feeds, controls=controls, switches=switches, link=link)


def _plugs(rows: list[Row], things: "list[_Thing]") -> Iterator[Plug]:
    inside: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        inside[row.at.connector].append(row)
    bridges = [bridge for thing in things if (bridge := thing.bridge()) is not None]
    for connector, pins in inside.items():
        uses = dict.fromkeys(row["use"] or row["name"] for row in pins if row["use"] or row["name"])
        yield Plug(
            name=connector,
            pins=max(row.at.pin for row in pins),
            use=", ".join(uses)[:200] or "not stated",
            keep_empty=all(row.role == "empty" for row in pins),
            bridged=tuple((one.pin, other.pin) for one, other in bridges if one.connector == connector),
        )


@dataclass(slots=True)
class _Thing:
    """The rows of one name, and what they make."""

    name: str
    rows: list[Row]
    reading: _Reading

    def feed(self) -> Feed | None:
        roles = self._roles()
        kind: Literal["dc", "ac", "rail"]
        if "supply +" in roles:
            kind, pair = "dc", self._two("supply +", "supply -")
        elif "supply ac" in roles:
            kind, pair = "ac", self._two("supply ac", "supply ac")
        elif "rail" in roles:
            kind, pair = "rail", self._two("rail", "rail")
        else:
            return None
        volts = self._quantity("value", needed=True)
        if pair is None or volts is None:
            return None
        amps = self._quantity("limit", needed=False) or ""
        return Feed(name=self.name, terminals=pair, volts=volts, kind=kind, amps=amps, lamp=self._said("lamp"))

    def control(self) -> Control | None:
        roles = self._roles()
        if "level input" in roles:
            pair, volts = self._two("level input", "level input"), self._quantity("value", needed=True)
            if pair is None or volts is None:
                return None
            return Control(name=self.name, terminals=pair, use=self._use(), kind="level", volts=volts)
        if "dry input" in roles:
            pair, rest = self._two("dry input", "dry input"), self._said("value")
            if rest not in {"", "open", "closed"}:
                self._wrong("value", f"{rest!r} is not a state at rest", "open or closed")
            return (
                None
                if pair is None
                else Control(name=self.name, terminals=pair, use=self._use(), kind="dry contact", rest=rest)
            )
        return None

    def switch(self) -> Switch | None:
        roles = self._roles()
        if not {"common", "make", "break"} & roles:
            return None
        make = self._two("common", "make") if "make" in roles else None
        break_ = self._two("common", "break") if "break" in roles else None
        if "make" not in roles and "break" not in roles:
            self._wrong("role", f"the contact of {self.name} has a common only", "give it a row 'make' or 'break'")
            return None
        coil = self._two("coil", "coil") if "coil" in roles else None
        command, lamp = self._said("command"), self._said("lamp")
        return Switch(name=self.name, load=self._use(), make=make, break_=break_, command=command, lamp=lamp, coil=coil)

    def bridge(self) -> tuple[Terminal, Terminal] | None:
        pins = [row.at for row in self.rows if row.role == "bridge"]
        if not pins:
            return None
        if len(pins) != 2 or pins[0].connector != pins[1].connector:
            self._wrong("role", f"bridge {self.name} needs two pins of one connector, got {len(pins)}")
            return None
        return pins[0], pins[1]

    def check_command(self, inputs: Mapping[str, Control]) -> None:
        """Report a command that is no input, or one that is there at rest."""
        command = self._said("command")
        if command and command not in inputs:
            hint = nearest_or_list(command, inputs, what="inputs")
            self._wrong("command", f"{self.name} is commanded by {command!r}, which is no input here", hint)
        elif command and inputs[command].rest == "closed":
            message = f"{self.name} is commanded by {command!r}, which is closed at rest: it would be energised at rest"
            self._wrong("command", message, f"rest is what nobody wants anything in: 'open' for {command}")

    def _roles(self) -> set[str]:
        return {row.role for row in self.rows}

    def _said(self, column: str) -> str:
        return next((row[column] for row in self.rows if row[column]), "")

    def _use(self) -> str:
        return self._said("use") or self.name

    def _wrong(self, column: str, message: str, hint: str = "") -> None:
        self.reading.wrong(self.rows[0].line, column, message, hint)

    def _two(self, first: str, second: str) -> Pair | None:
        """Return the pair of two roles; of one role its two rows, or its row and what `to` names."""
        ones = [row for row in self.rows if row.role == first]
        others = [row.at for row in self.rows if row.role == second] if first != second else [r.at for r in ones[1:]]
        others += [found for row in ones if (found := self._to(row)) is not None]
        if len(ones) - (first == second and len(ones) > 1) != 1 or len(others) != 1:
            rows = (
                f"a row '{first}' and a row '{second}'" if first != second else f"two rows '{first}', or one with 'to'"
            )
            self._wrong("role", f"{self.name} needs {rows}", "pins of one name belong together")
            return None
        return Pair(ones[0].at, others[0])

    def _to(self, row: Row) -> Terminal | None:
        if not row["to"]:
            return None
        try:
            return Terminal.parse(row["to"])
        except ValueError as problem:
            self.reading.wrong(row.line, "to", str(problem))
            return None

    def _quantity(self, column: str, *, needed: bool) -> str | None:
        text, dimension = self._said(column), VOLTAGE if column == "value" else CURRENT
        if not text and not needed:
            return None
        try:
            parse(text, dimension)
        except ValueError as problem:
            self._wrong(column, f"{self.name}: {problem}")
            return None
        return spelled(text, dimension)
