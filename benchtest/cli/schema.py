"""`benchtest schema`: JSON Schema for editors."""

import json

import click


@click.command()
@click.argument("document", type=click.Choice(["profile", "fixture", "harness"]))
def schema(document: str) -> None:
    """Print the JSON Schema of a profile, fixture or harness, for editors that complete and check YAML."""
    from pydantic import BaseModel

    from benchtest.documents import schema as schema_of
    from benchtest.fixture.document import Fixture, Harness
    from benchtest.profile.document import Profile

    model: type[BaseModel] = {"profile": Profile, "fixture": Fixture, "harness": Harness}[document]
    click.echo(json.dumps(schema_of(model), indent=2, ensure_ascii=False))
