"""Values that others printed about IEEE 488.2 and SCPI-99, for both sides of the adapter protocol.

Sources: SCPI-99 volume 1 (6.2.1 short forms, 8.3.2 channel lists, 21.8 error list, 7.2.1 infinity and not-a-number) and
IEEE 488.2 (7.7.2 NRf, 7.7.4 non-decimal numbers, 8.7.9 definite-length blocks), as quoted in public instrument
manuals; clause numbers from memory.
"""

from typing import Final

SHORT_FORMS: Final = {
    "IMMediate": "IMM",
    "FORMat": "FORM",
    "DELay": "DEL",
    "OUTPut": "OUTP",
    "POLynomial": "POL",
    "AUTO": "AUTO",
    "DEFine": "DEF",
    "ROUTe": "ROUT",
}
"""Long form → short form."""

DEFINE_VALID: Final = ("DEF", "DEFINE", "def", "Define")
DEFINE_INVALID: Final = ("DE", "DEFI", "DEFIN", "DEFINED")

NUMBERS: Final = {"273": 273.0, "0.273": 0.273, "2.73E+2": 273.0}
"""NR1, NR2, NR3."""
NON_DECIMAL: Final = {"#H7B": 123.0, "#Q173": 123.0, "#B1111011": 123.0}

BLOCKS: Final = (b"#14abcd", b"#3004abcd")
"""The same four bytes."""

CHANNEL_LISTS: Final = {
    "(@1,2,3,4)": (1, 2, 3, 4),
    "(@1:4)": (1, 2, 3, 4),
    "(@1,5,7,34)": (1, 5, 7, 34),
    "(@1,3:5)": (1, 3, 4, 5),
    "(@4:1)": (4, 3, 2, 1),
}

ERRORS: Final = {
    0: "No error",
    -102: "Syntax error",
    -109: "Missing parameter",
    -113: "Undefined header",
    -222: "Data out of range",
    -350: "Queue overflow",
}
