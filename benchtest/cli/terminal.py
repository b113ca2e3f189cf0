"""How a person is asked on a terminal: a prompt at the end of plain lines, an answer, Enter.

Nothing is drawn over what was said, so that it works over ssh, in a log and with a screen reader. Answers may also come
from a pipe; they are then echoed, and its end is a person who has left.
"""

import io
import shutil
import sys
from contextlib import AbstractContextManager
from typing import Final, Protocol

import click

from benchtest.cli.words import folded, say, spelled
from benchtest.errors import Aborted, Paused

ROOM: Final = 14
"""Columns left behind a prompt for the answer."""
LEFT: Final = "nobody answers any more"


class Stopping(Protocol):
    """Whoever takes signals."""

    def asking(self) -> AbstractContextManager[None]:
        """Return a context in which a signal raises Aborted at once."""
        ...


class Terminal:
    """Standard input, and standard output or error."""

    def __init__(self, stopping: Stopping, *, err: bool = False) -> None:
        self._stopping, self._err = stopping, err
        if isinstance(sys.stdin, io.TextIOWrapper):
            sys.stdin.reconfigure(errors="replace")  # a byte that is no character is an answer that is not understood

    def tell(self, text: str) -> None:
        """Show a text; a terminal that has gone hears nothing."""
        try:
            say(text, err=self._err)
        except OSError:
            return

    def ask(self, prompt: str) -> str:
        """Return the line that was typed. Raises Paused at the end of the input, Aborted when a signal comes."""
        try:
            typed = self._asked(prompt)
        except Aborted:
            self.tell("")  # what follows begins on a line of its own
            raise
        except OSError as gone:
            raise Paused(LEFT) from gone
        if not typed:
            self.tell("")
            raise Paused(LEFT)
        if not sys.stdin.isatty():
            self.tell(typed.rstrip("\r\n"))
        return typed.rstrip("\r\n")

    def _asked(self, prompt: str) -> str:
        stream = sys.stderr if self._err else sys.stdout
        columns = shutil.get_terminal_size().columns if stream.isatty() else 10_000
        shown = spelled(folded(prompt, max(40, columns - ROOM)), stream)
        if sys.stdin is None:  # started with its input closed
            raise Paused(LEFT)
        self._drop_what_came_early()
        with self._stopping.asking():
            click.echo(f"{shown} ", nl=False, err=self._err)
            return sys.stdin.readline()

    @staticmethod
    def _drop_what_came_early() -> None:
        """Forget keys that were pressed before the request was there: an Enter too many must not confirm it unread."""
        if sys.stdin.isatty() and sys.platform != "win32":
            import termios

            termios.tcflush(sys.stdin, termios.TCIFLUSH)
