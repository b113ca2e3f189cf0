"""What pydantic found, in the words of someone who writes profiles.

One row per kind of finding; each gives the message and what to try. Kinds that are not in the table keep pydantic's
sentence, with a small first letter.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from pydantic_core import ErrorDetails

from benchtest.documents.shape import Schema
from benchtest.documents.words import choices, nearest_or_list

LONGEST_SHOWN: Final = 60
"""Characters of a value in a message."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Finding:
    """One error of pydantic, and what the schema says at its place."""

    error: ErrorDetails
    part: Schema
    """Schema of the value that was not met; of the mapping, where a key is meant."""

    @property
    def last(self) -> str:
        """The key that the error is about."""
        keys = [key for key in self.error["loc"] if key != "[key]"]
        return str(keys[-1]) if keys else "the document"

    @property
    def context(self) -> Mapping[str, Any]:
        """Numbers and names that pydantic gives with an error."""
        return self.error.get("ctx", {})

    @property
    def found(self) -> str:
        """The offending value, shortened."""
        return shown(self.error["input"])


Words = tuple[str, str]
SPELLED: Final[Mapping[str, str]] = {
    r"^[A-Za-z][A-Za-z0-9_ -]{0,39}$": "a letter, then letters, digits, blanks, '_' and '-'; 40 characters at most",
    r"^[A-Za-z][A-Za-z0-9 _-]{0,39}$": "a letter, then letters, digits, blanks, '_' and '-'; 40 characters at most",
    r"^[A-Za-z][A-Za-z0-9_-]{0,39}$": "a letter, then letters, digits, '_' and '-'; 40 characters at most",
    r"^[A-Za-z][A-Za-z0-9_]{0,39}$": "a letter, then letters, digits and '_'; 40 characters at most",
    r"^[A-Z][A-Z0-9]*$": "a capital letter, then capital letters and digits, such as X7",
    r"^[A-Z0-9][A-Z0-9-]{1,29}$": "capital letters, digits and '-', 2 to 30 of them, such as CW-0410",
    r"^[A-Za-z0-9][A-Za-z0-9._/:-]{0,39}$": "letters, digits and . _ / : -, without blanks; 40 characters at most",
    r"^[ -~]?$": "one character, such as '*'",
    r"^[!-~]{1,20}$": "1 to 20 characters without blanks or accents",
    r"^[ -*,/:-@\[-`{-~]$": "one character that stands in no number, such as ','",
    r"^[0-9a-f]{64}$": "64 digits 0 to 9 and a to f",
    r"^[0-9a-f]{128}$": "128 digits 0 to 9 and a to f",
    r"^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$": "a language tag, such as en or nl-BE",
}
"""What may be written where a pattern says it, in words."""


def shown(value: object) -> str:
    """Return a value as a message shows it; mappings and lists only by their kind."""
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list):
        return "a list"
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return str(value).lower()
    text = repr(value)
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}…"


def words(finding: Finding) -> Words:
    """Return message and hint for an error of pydantic."""
    kind = finding.error["type"]
    if finding.error["loc"][-1:] == ("[key]",):
        return _key(finding)
    if finding.error["input"] is None and kind.endswith("_type") and "enum" not in finding.part:
        return "a key without a value", f"give {_wanted(finding.part)}, or delete the key"
    row = _WORDS.get(kind)
    return row(finding) if row is not None else (_plain(finding), "")


def _plain(finding: Finding) -> str:
    text = finding.error["msg"].removeprefix("Value error, ").rstrip(".")
    return text[:1].lower() + text[1:]


def _own(finding: Finding) -> Words:
    """Our own sentence, its closing brackets taken for the hint."""
    text = str(finding.context.get("error") or finding.error["msg"])
    before, bracket, hint = text.rpartition(" (")
    return (before, hint.removesuffix(")")) if bracket and text.endswith(")") else (text, "")


def _key(finding: Finding) -> Words:
    name = shown(finding.error["input"])
    match finding.error["type"]:
        case "string_pattern_mismatch":
            return f"{name} cannot be a name here", _spelled(finding)
        case "string_type":
            return f"name {name} is not text", f"write it in quotes: {str(finding.error['input'])!r}"
        case "int_parsing" | "int_type":
            return f"name {name} is not a whole number", "write a number such as 3"
        case "terminal":
            return _own(finding)
        case _:
            return f"{name} cannot be a name here: {_plain(finding)}", ""


def _spelled(finding: Finding) -> str:
    pattern = str(finding.context["pattern"])
    return SPELLED.get(pattern, f"it matches {pattern}")


def _unknown_key(finding: Finding) -> Words:
    return f"unknown key {finding.last!r}", nearest_or_list(finding.last, finding.part.get("properties", ()))


def _missing(finding: Finding) -> Words:
    return f"{finding.last!r} is missing", f"give {finding.last}: {_wanted(finding.part)}"


def _wanted(part: Schema) -> str:
    """Return what the schema asks for, in a few words."""
    if "enum" in part:
        return f"one of {choices(part['enum'])}"
    if "const" in part:
        return str(part["const"])
    if "oneOf" in part:
        return "a mapping"
    if str(part.get("description", "")).startswith("a ") and part.get("type") == "string":
        return str(part["description"])
    kinds = {"string": "text", "object": "a mapping", "array": "a list in square brackets", "integer": "a whole number"}
    kinds |= {"number": "a number", "boolean": "true or false"}
    return kinds.get(part.get("type", ""), "a value")


def _literal(finding: Finding) -> Words:
    allowed = finding.part.get("enum", [finding.part.get("const")])
    return f"{finding.found} is not possible here", nearest_or_list(finding.error["input"], allowed, what="possible")


def _tag(finding: Finding) -> Words:
    allowed = tuple(finding.part.get("discriminator", {}).get("mapping", ()))
    key = str(finding.context["discriminator"]).strip("'")
    return f"{key} {finding.context['tag']!r} is unknown", nearest_or_list(finding.context["tag"], allowed)


def _no_tag(finding: Finding) -> Words:
    allowed = finding.part.get("discriminator", {}).get("mapping", ())
    key = str(finding.context["discriminator"]).strip("'")
    return f"{key!r} is missing", f"give {key}: one of {choices(allowed)}"


def _text(finding: Finding) -> Words:
    value = finding.error["input"]
    quoted = f"write it in quotes: {str(value)!r}" if isinstance(value, (int, float)) else ""
    return f"expected text, got {finding.found}", quoted


def _expected(what: str, hint: str = "") -> Callable[[Finding], Words]:
    return lambda finding: (f"expected {what}, got {finding.found}", hint)


def _mapping(finding: Finding) -> Words:
    known = tuple(finding.part.get("properties", ()))
    return (
        f"expected a mapping, got {finding.found}",
        f"keys: {choices(known)}" if known else "write 'name: value' lines",
    )


def _bounded(sentence: str) -> Callable[[Finding], Words]:
    return lambda finding: (f"{finding.found} {sentence.format(**finding.context)}", "")


_LIST: Final = _expected("a list", "write it in square brackets")
_WORDS: Final[Mapping[str, Callable[[Finding], Words]]] = {
    "extra_forbidden": _unknown_key,
    "missing": _missing,
    "literal_error": _literal,
    "union_tag_invalid": _tag,
    "union_tag_not_found": _no_tag,
    "value_error": _own,
    "quantity": _own,
    "terminal": _own,
    "string_type": _text,
    "string_pattern_mismatch": lambda f: (f"{f.found} cannot be written here", _spelled(f)),
    "string_too_short": _expected("text that is not empty"),
    "string_too_long": lambda f: (f"text longer than {f.context['max_length']} characters", "shorten it"),
    "bool_type": _expected("true or false"),
    "bool_parsing": _expected("true or false"),
    "int_type": _expected("a whole number"),
    "int_parsing": _expected("a whole number"),
    "int_from_float": _expected("a whole number"),
    "float_type": _expected("a number"),
    "float_parsing": _expected("a number"),
    "model_type": _mapping,
    "model_attributes_type": _mapping,
    "dict_type": _mapping,
    "list_type": _LIST,
    "tuple_type": _LIST,
    "greater_than_equal": _bounded("is less than {ge}"),
    "less_than_equal": _bounded("is more than {le}"),
    "too_short": lambda f: (f"at least {f.context['min_length']} expected, got {f.context['actual_length']}", ""),
    "too_long": lambda f: (f"at most {f.context['max_length']} expected, got {f.context['actual_length']}", ""),
}
