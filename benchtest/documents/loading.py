"""From a file to a value that knows its places, with everything that is wrong in one report.

Strategy: read the tree; validate it; where that fails, leave out the smallest entries that failed until the rest is
valid, and still show the rest to the document's own cross-check. The check learns which names were merely broken, so
that it does not call them missing.
"""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Generic, TypeVar, get_args, get_origin

from pydantic import BaseModel, ValidationError, create_model
from pydantic_core import ErrorDetails

from benchtest.documents.shape import Schema, Shape
from benchtest.documents.source import decode, read_bytes
from benchtest.documents.tree import Key, KeyPath, Tree, grow, step_into
from benchtest.documents.wording import Finding, words
from benchtest.documents.words import nearest_or_list
from benchtest.errors import DocumentError, Problem

Model = TypeVar("Model", bound=BaseModel)

_PATIENCE = 64
"""Rounds of leaving out; each leaves out at least one entry, one level further out than the round before."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Loaded(Generic[Model]):
    """A valid document and where everything stands in it."""

    value: Model
    path: Path
    digest: str
    """SHA-256 of the file's bytes, hexadecimal."""
    tree: Tree

    def place(self, *keys: Key) -> str:
        """Return `file:line` of a key path, or of its nearest parent."""
        return f"{self.path}:{self.tree.mark(keys).line}"


@dataclass(kw_only=True, slots=True)
class Review:
    """What a cross-check sees of a document besides its value, and where it says what is wrong."""

    path: Path
    tree: Tree
    left_out: set[KeyPath] = field(default_factory=set)
    """Paths of entries that are in the document but not in the value, because they are broken."""
    origin: dict[KeyPath, KeyPath] = field(default_factory=dict)
    """Path in the value → path in the document, where entries of a list were left out."""
    problems: list[Problem] = field(default_factory=list)

    def say(self, keys: KeyPath, message: str, hint: str = "", *, key: bool = False, as_written: bool = False) -> None:
        """Report a problem at a path's value (or its key, if `key`); `as_written` where nothing was left out."""
        written = keys if as_written else self.written(keys)
        mark = self.tree.mark(written, key=key)
        where = self.tree.dotted(written)
        self.problems.append(
            Problem(file=self.path, line=mark.line, column=mark.column, where=where, message=message, hint=hint)
        )

    def line(self, *keys: Key) -> int:
        """Return the line of a path."""
        return self.tree.mark(self.written(keys)).line

    def names(self, *keys: Key) -> tuple[str, ...]:
        """Return the names defined in the mapping at a path, broken ones included."""
        inside = self.tree.value
        for key in keys:
            inside = step_into(inside, key)
        return tuple(str(name) for name in inside) if isinstance(inside, dict) else ()

    def is_broken(self, *keys: Key) -> bool:
        """Return whether the entry at a path, something around it or something in it was left out."""
        written = self.written(keys)
        return any(dead[: len(written)] == written[: len(dead)] for dead in self.left_out)

    def written(self, keys: KeyPath) -> KeyPath:
        """Return the path in the document of a path in the value."""
        for length in range(len(keys), 0, -1):
            if keys[:length] in self.origin:
                return (*self.origin[keys[:length]], *keys[length:])
        return keys


Check = Callable[[Model, Review], None]


def load(path: Path, model: type[Model], *, check: Check[Model] | None = None) -> Loaded[Model]:
    """Return the document at `path` as a `model`.

    Raises DocumentError with every problem of the file, of its shape and of `check`.
    """
    loaded, problems = examine(path, model, check=check)
    if loaded is None or problems:
        raise DocumentError(problems)
    return loaded


def examine(
    path: Path, model: type[Model], *, check: Check[Model] | None = None
) -> tuple[Loaded[Model] | None, list[Problem]]:
    """Return what could be read of the document at `path`, None when nothing could, and every problem found."""
    try:
        content = read_bytes(path)
        tree = grow(decode(path, content))
    except DocumentError as error:
        return None, list(error.problems)
    problems = tree.problems(path)
    if () in tree.dead:
        return None, problems
    review = Review(path=path, tree=tree, problems=problems)
    if not _understood(review, model):
        return None, problems
    value = _validated(review, model)
    if value is None:
        return None, problems
    if check is not None:
        check(value, review)
    digest = hashlib.sha256(content).hexdigest()
    return Loaded(value=value, path=path, digest=digest, tree=tree), problems


def _understood(review: Review, model: type[BaseModel]) -> bool:
    """Return whether the document says that it is of this model's format; report it otherwise."""
    known: tuple[str, ...] = get_args(model.model_fields["format"].annotation)
    keys = review.names()
    if not isinstance(review.tree.value, dict):
        review.say((), "expected a mapping at the top", f"begin with 'format: {known[-1]}'")
    elif "format" not in keys:
        review.say((), "'format' is missing", f"begin with 'format: {known[-1]}'")
    elif (written := review.tree.value["format"]) not in known:
        review.say(("format",), f"format {written!r} is not understood here", nearest_or_list(written, known))
    else:
        if keys[0] != "format":
            review.say(("format",), "'format' is not the first key", "move it to the top", key=True)
        return True
    return False


def _validated(review: Review, model: type[Model]) -> Model | None:
    """Return the value, without the entries that had to be left out; None when nothing valid is left."""
    shape, wanted = Shape(model), model
    review.left_out |= review.tree.dead
    harmful = set(review.tree.dead)
    for _ in range(_PATIENCE):
        try:
            return wanted.model_validate(_pruned(review))
        except ValidationError as error:
            details = error.errors(include_url=False)
        found = [(detail, *_located(review, shape, detail)) for detail in details]
        guilty = {_guilty(detail, path) for detail, path, _ in found}
        harmless = {path for detail, path, _ in found if detail["type"] == "extra_forbidden"}
        for detail, path, part in found:
            if not _follows(path, harmful, guilty - harmless):
                _report(review, detail, path, part)
        if guilty <= review.left_out:
            guilty = {path[:-1] for path in guilty}
        review.left_out |= guilty
        harmful |= guilty - harmless
        wanted = _partial(model)
    return None


def _guilty(detail: ErrorDetails, path: KeyPath) -> KeyPath:
    """Return the entry to leave out: what lacks a key, but never the document for lack of a section."""
    return path[:-1] if detail["type"] == "missing" and len(path) > 1 else path


def _partial(model: type[Model]) -> type[Model]:
    """Return the model with no section required, so that one broken section does not hide the others.

    A section that is left out is then an empty mapping or list, or None where it is neither.
    """
    sections: dict[str, Any] = {}
    annotated: Any = Annotated
    for name, section in model.model_fields.items():
        if section.is_required() and name != "format":
            kind = get_origin(section.annotation)
            readers = [how for how in section.metadata if not hasattr(how, "min_length")]  # it may be empty now
            whole = annotated[section.annotation, *readers] if readers else section.annotation
            sections[name] = (whole, kind() if kind in {dict, tuple} else None)
    return create_model(f"Partial{model.__name__}", __base__=model, **sections)


def _follows(path: KeyPath, harmful: set[KeyPath], guilty: set[KeyPath]) -> bool:
    """Return whether an error at `path` only follows from what was left out, or is wrong, inside it."""
    inside = (dead for dead in harmful | guilty if path == dead[: len(path)])
    return any(dead != path or dead in harmful for dead in inside)


def _located(review: Review, shape: Shape, detail: ErrorDetails) -> tuple[KeyPath, Schema]:
    """Return the path in the document, and the schema there (of the mapping, where a key is unknown)."""
    path, part = shape.locate(detail["loc"])
    if detail["type"] == "extra_forbidden":
        part = shape.locate(detail["loc"][:-1])[1]
    return review.written(path), part


def _report(review: Review, detail: ErrorDetails, path: KeyPath, part: Schema) -> None:
    kind = detail["type"]
    message, hint = words(Finding(error=detail, part=part))
    if kind == "missing":
        path = path[:-1]
    elif kind == "union_tag_invalid":
        path = (*path, str(detail.get("ctx", {})["discriminator"]).strip("'"))
    is_key = kind in {"extra_forbidden", "missing", "union_tag_not_found"} or detail["loc"][-1:] == ("[key]",)
    review.say(path, message, hint, key=is_key, as_written=True)


def _pruned(review: Review) -> Any:
    review.origin.clear()
    return _without(review.tree.value, (), (), review)


def _without(value: Any, old: KeyPath, new: KeyPath, review: Review) -> Any:
    if isinstance(value, dict):
        kept = {key: inner for key, inner in value.items() if (*old, key) not in review.left_out}
        return {key: _without(inner, (*old, key), (*new, key), review) for key, inner in kept.items()}
    if isinstance(value, list):
        places = [place for place in range(len(value)) if (*old, place) not in review.left_out]
        for after, before in enumerate(places):
            review.origin[*new, after] = (*old, before)
        return [_without(value[before], (*old, before), (*new, after), review) for after, before in enumerate(places)]
    return value
