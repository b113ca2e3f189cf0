"""What a depot says of itself, once for all its benches: name and address, logo, language, terms."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from benchtest.documents.section import Section

Line = Annotated[str, Field(min_length=1, max_length=120)]
Term = Annotated[str, Field(min_length=1, max_length=600)]
FileName = Annotated[str, Field(min_length=1, max_length=100)]


class Depot(Section):
    """Whose paper it is."""

    name: Line
    """Name of the depot."""
    address: Annotated[tuple[Line, ...], Field(max_length=6)] = ()
    """Lines as on an envelope; telephone or mail may stand here too."""
    logo: FileName | None = None
    """File beside the site file: SVG, or PNG."""
    terms: Annotated[tuple[Term, ...], Field(max_length=8)] = ()
    """The depot's own wording, such as warranty or conditions of repair; printed before the cautions."""


class Profiles(Section):
    """Which profiles the site takes."""

    signed: Literal["optional", "required"] = "optional"
    """With `required` a run under a profile that no approver has signed as it is, is refused before anything is
    energised."""
    approvers: FileName | None = None
    """List of the approvers' keys, beside the site file: cards of `benchtest station show --card`."""

    @model_validator(mode="after")
    def _whose(self) -> Self:
        if self.signed == "required" and self.approvers is None:
            raise ValueError("signed profiles are required, and nobody can sign them (add 'approvers: FILE')")
        return self


class Site(Section):
    """A site file."""

    format: Literal["benchtest-site/1"]
    depot: Depot
    """Whose paper it is."""
    records: Annotated[str, Field(max_length=300)] = ""
    """Where the records of all benches are, `postgresql://host/name`; else each bench keeps its own."""
    language: FileName = "en"
    """Of the papers: the tag of a shipped language, or the name of a language file beside the site file."""
    profiles: Profiles = Profiles()
    """Whether profiles must be approved, and by whom."""
