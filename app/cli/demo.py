"""`revledger demo`: an invented workshop's year in a scratch database, served on this machine."""

import os
import tempfile
import webbrowser
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated

import typer

_LINK_VALID = timedelta(hours=12)


def demo(
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port to listen on; 0 takes a free one.")] = 8000,
    folder: Annotated[Path | None, typer.Option(help="Keep the database here; a new scratch folder otherwise.")] = None,
    browser: Annotated[bool, typer.Option(help="Open the sign-in link in a browser.")] = True,
    only_load: Annotated[bool, typer.Option("--only-load", help="Fill the database and stop.")] = False,
) -> None:
    """Fill a fresh database from the demo files and serve it; prints a sign-in link that works once."""
    from rich.console import Console
    from rich.progress import Progress

    from app.cli.database import make_file
    from app.cli.serve import address_of, listen, prepare, run
    from app.errors import Conflict
    from app.record import one_time_keys, people
    from app.record.engine import make_engine, transaction
    from app.record.migrate import upgrade
    from app.seed import load
    from app.settings import from_environment

    place = folder or Path(tempfile.mkdtemp(prefix="revledger-demo-"))
    file = place / "demo.db"
    if file.exists():
        raise Conflict(f"{file} exists already; name an empty folder.")
    make_file(file)
    # A port that is taken is told now, not after the minute that the filling takes.
    listening = None if only_load else listen("127.0.0.1", port)
    os.environ["REVLEDGER_DATABASE_URL"] = f"sqlite:///{file}"
    os.environ["REVLEDGER_DEMO"] = "1"
    engine = make_engine(os.environ["REVLEDGER_DATABASE_URL"])
    upgrade(engine)
    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("The invented workshop's year", total=None)
        load(
            engine,
            now=datetime.now(UTC),
            progress=lambda done, total, what: bar.update(task, completed=done, total=total, description=what),
        )
    typer.echo(f"The demo lies in {file}; delete the folder when you are done.")
    if listening is None:
        return
    prepare(engine)
    address = address_of(listening)
    os.environ["REVLEDGER_BASE_URL"] = address  # goes into the codes on certificates and key tags
    settings = from_environment()
    with transaction(engine) as session:
        manager = next(person for person in people.everyone(session) if person.role == "manager")
        key = one_time_keys.make(session, "sign_in", datetime.now(UTC), valid=_LINK_VALID, person_id=manager.id)
    link = f"{address}/sign-in/link/{key}"
    typer.echo(f"Revledger runs at {address}  (Ctrl+C ends it)\nSign in once with this link: {link}")
    engine.dispose()
    if browser:
        _open(link)
    run(listening, 1, hosts=settings.hosts)


def _open(link: str) -> None:
    """Where there is a browser; a text browser in the terminal would hold the server up, so it is left out."""
    try:
        found = webbrowser.get()
    except webbrowser.Error:
        return
    if not isinstance(found, webbrowser.GenericBrowser) or isinstance(found, webbrowser.BackgroundBrowser):
        found.open(link)
