"""`benchtest schema`: JSON Schema for editors."""

import json

import click


@click.command()
@click.argument("document", type=click.Choice(["profile", "fixture", "harness", "dialect", "site"]))
def schema(document: str) -> None:
    """Print the JSON Schema of a document, for editors that complete and check YAML."""
    from benchtest.documents import schema as schema_of
    from benchtest.fixture.dialect import Dialect
    from benchtest.fixture.document import Fixture, Harness
    from benchtest.profile.document import Profile
    from benchtest.site import Site

    match document:
        case "profile":
            found = schema_of(Profile)
        case "fixture":
            found = schema_of(Fixture)
        case "dialect":
            found = schema_of(Dialect)
        case "site":
            found = schema_of(Site)
        case _:
            found = schema_of(Harness)
    click.echo(json.dumps(found, indent=2, ensure_ascii=False))
