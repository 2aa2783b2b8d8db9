"""`revledger person …`: people, from the console of the server."""

import sys
from datetime import UTC, datetime
from typing import Annotated

import typer

from app.errors import BadInput, NotFound


def add(
    name: Annotated[str, typer.Argument(help="Name as it shall stand in the record.")],
    role: Annotated[str, typer.Option(help="tuner, front_desk or manager.")],
) -> None:
    """Add a person. The password is asked for, or read from standard input when that is no terminal."""
    from app.actions.add_person import add_person
    from app.cli.database import open_database
    from app.record.engine import transaction
    from app.settings import from_environment

    engine, _ = open_database(from_environment())
    password = ask_password()
    with transaction(engine) as session:
        added = add_person(session, person=None, at=datetime.now(UTC), name=name, role=role, password=password)
        typer.echo(f"{added.name} was added as {added.role.replace('_', ' ')}.")


def reset_password(name: Annotated[str, typer.Argument(help="Name of the person.")]) -> None:
    """Give a person a new password; ends all sign-ins of the person and lifts a lock."""
    from app.actions.change_person import change_person
    from app.cli.database import open_database
    from app.record import people
    from app.record.engine import transaction
    from app.settings import from_environment

    engine, _ = open_database(from_environment())
    password = ask_password()
    with transaction(engine) as session:
        person = people.by_name(session, name)
        if person is None:
            raise NotFound(f"There is no person called {name}.")
        change_person(session, person=None, at=datetime.now(UTC), person_id=person.id, password=password)
        typer.echo(f"{person.name} has a new password.")


def ask_password() -> str:
    """Twice from a terminal, unseen; else the first line of standard input."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    first: str = typer.prompt("Password", hide_input=True)
    if typer.prompt("Again", hide_input=True) != first:
        raise BadInput("The two passwords differ; start again.")
    return first
