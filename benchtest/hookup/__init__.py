"""The sheet that hangs at the bench: each connector pin by pin, what goes where, what stays empty, what is mixed up."""

from benchtest.hookup.describe import describe
from benchtest.hookup.paper import to_html, to_pdf
from benchtest.hookup.sheet import Sheet

__all__ = ["Sheet", "describe", "to_html", "to_pdf"]
