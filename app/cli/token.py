"""`revledger token …`: tokens for programs that use the API."""

from datetime import UTC, datetime
from typing import Annotated

import typer

from app.errors import NotFound


def create(
    name: Annotated[str, typer.Argument(help="Person that the token speaks for; it has that person's role.")],
    label: Annotated[str, typer.Option(help="What the token is for, such as “dyno computer”.")],
) -> None:
    """Make a token and print it, this once."""
    from app.actions.create_token import create_token
    from app.cli.database import open_database
    from app.record import people
    from app.record.engine import transaction
    from app.settings import from_environment

    engine, _ = open_database(from_environment())
    with transaction(engine) as session:
        person = people.by_name(session, name)
        if person is None:
            raise NotFound(f"There is no person called {name}.")
        typer.echo(create_token(session, person=None, at=datetime.now(UTC), person_id=person.id, label=label))
