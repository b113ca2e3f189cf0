"""Where on the board: connector and pin, and the pair of pins that a two-wire thing sits on.

`parse` and `str` are inverses. A full address is board:connector.pin; the board part is left out while there is one
board in a run.
"""

import re
from dataclasses import dataclass
from typing import Any, Self

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

_TERMINAL = re.compile(r"(?:(?P<board>[A-Za-z][A-Za-z0-9_]*):)?(?P<connector>[A-Z][A-Z0-9]*)\.(?P<pin>[1-9][0-9]?)")


class _Written:
    """What lets a class with `parse` and `__str__` stand in a document model."""

    @classmethod
    def parse(cls, text: str) -> Self:
        raise NotImplementedError

    @classmethod
    def _validate(cls, value: object) -> Self:
        if isinstance(value, cls):
            return value
        try:
            return cls.parse(value if isinstance(value, str) else repr(value))
        except ValueError as problem:
            raise PydanticCustomError("terminal", "{problem}", {"problem": str(problem)}) from None

    @classmethod
    def __get_pydantic_core_schema__(cls, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(
            cls._validate, serialization=core_schema.plain_serializer_function_ser_schema(str)
        )

    @classmethod
    def __get_pydantic_json_schema__(cls, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"type": "string", "description": (cls.__doc__ or "").splitlines()[0]}


@dataclass(frozen=True, slots=True, order=True)
class Terminal(_Written):
    """One pin of one connector, written `X7.1`, or `left:X7.1` where several boards are in one run."""

    connector: str
    pin: int
    board: str = ""

    @classmethod
    def parse(cls, text: str) -> Self:
        match = _TERMINAL.fullmatch(text)
        if match is None:
            raise ValueError(f"{text!r} is not a terminal (try 'X7.1': connector, dot, pin from 1 to 99)")
        return cls(match["connector"], int(match["pin"]), match["board"] or "")

    def __str__(self) -> str:
        return f"{self.board + ':' if self.board else ''}{self.connector}.{self.pin}"


@dataclass(frozen=True, slots=True, order=True)
class Pair(_Written):
    """Two pins that belong together, the positive or common one first, written `X7.1-X7.2`."""

    high: Terminal
    low: Terminal

    @classmethod
    def parse(cls, text: str) -> Self:
        high, dash, low = text.partition("-")
        if not dash:
            raise ValueError(f"{text!r} is not a pair of terminals (try 'X7.1-X7.2')")
        pair = cls(Terminal.parse(high), Terminal.parse(low))
        if pair.high == pair.low:
            raise ValueError(f"{text!r} names one terminal twice (a pair is two different pins, such as 'X7.1-X7.2')")
        return pair

    def __str__(self) -> str:
        return f"{self.high}-{self.low}"
