"""`revledger serve`: the program in the browser."""

import os
import socket
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from app.errors import Conflict

if TYPE_CHECKING:
    from sqlalchemy import Engine

# Each open connection counts, also one that sends nothing for now.
CONNECTIONS = 1000
_FIRST_RUN_VALID = timedelta(hours=24)
_FORGET_AFTER = timedelta(days=7)


def serve(
    host: Annotated[str, typer.Option(help="Address to listen on. 0.0.0.0 lets other computers in.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port to listen on; 0 takes a free one.")] = 8000,
    workers: Annotated[int, typer.Option(min=1, max=32, help="Server processes.")] = 1,
    name: Annotated[list[str] | None, typer.Option(help="Host name that browsers use; codes lead there.")] = None,
) -> None:
    """Bring the database up to date, after a backup of it, and serve the program."""
    from app.cli.database import open_database
    from app.settings import from_environment, sqlite_file

    settings = from_environment()
    engine, backup = open_database(settings)
    typer.echo(f"The record lies in {sqlite_file(settings.database_url) or 'the database of REVLEDGER_DATABASE_URL'}")
    if backup is not None:
        typer.echo(f"The database was brought up to date; as it was before, it lies in {backup}")
    refuse_open_network(engine, host)
    listening = listen(host, port)
    address = settings.base_url or address_of(listening, name[0] if name else "")
    if name:
        os.environ.setdefault("REVLEDGER_BASE_URL", address)
    typer.echo(f"Revledger runs at {address}  (Ctrl+C ends it)")
    key = prepare(engine)
    if key is not None:
        typer.echo(f"Nobody is set up yet. Set up the first manager, within a day: {address}/first-run?key={key}")
    engine.dispose()
    run(listening, workers, hosts=(*settings.hosts, *(name or ())))


def refuse_open_network(engine: "Engine", host: str) -> None:
    """Raise `Conflict` when other computers would reach a record that nobody's password protects."""
    from app.record import people
    from app.record.engine import reading
    from app.web.guard import is_loopback

    if is_loopback(host):
        return
    with reading(engine) as session:
        if not people.anyone_with_password(session):
            raise Conflict(
                f"Listening on {host} would let other computers in before anyone has a password. "
                "Add a person first: revledger person add NAME --role manager"
            )


def listen(host: str, port: int) -> socket.socket:
    """A bound socket; raises `Conflict` with a sentence when the address cannot be had."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # Without the protocol's number asyncio leaves Nagle's algorithm on, and each answer's second part waits for 40 ms.
    bound = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((host, port))
    except OSError as error:
        bound.close()
        raise Conflict(f"Cannot listen on {host} port {port}: {error.strerror}. Choose another --port.") from None
    bound.listen()  # a browser that is opened before the program has started waits instead of being refused
    bound.set_inheritable(True)
    return bound


def address_of(listening: socket.socket, name: str = "") -> str:
    """The address to type into a browser; `name` is what browsers call this machine, if not by its number."""
    host, port = listening.getsockname()[:2]
    if name:
        return f"http://{name}:{port}"
    if host in ("0.0.0.0", "::"):  # noqa: S104 - compared, not bound
        host = "127.0.0.1"
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"


def prepare(engine: "Engine") -> str | None:
    """Tidy what has expired; the key for setting up the first manager when there is nobody."""
    from app.record import form_keys, one_time_keys, people, sign_ins
    from app.record.engine import transaction

    now = datetime.now(UTC)
    with transaction(engine) as session:
        form_keys.forget_old(session, now - _FORGET_AFTER)
        sign_ins.forget_old(session, now - _FORGET_AFTER)
        if people.anyone(session):
            return None
        return one_time_keys.make(session, "first_manager", now, valid=_FIRST_RUN_VALID)


def run(listening: socket.socket, workers: int, *, hosts: tuple[str, ...]) -> None:
    """Serve on the socket until it is ended."""
    import uvicorn
    from uvicorn.supervisors import Multiprocess

    os.environ["REVLEDGER_HOSTS"] = ",".join(hosts)
    config = uvicorn.Config(
        "app.main:served_app",
        factory=True,
        workers=workers,
        proxy_headers=False,  # a client could otherwise choose its own address and scheme
        server_header=False,
        access_log=False,
        limit_concurrency=CONNECTIONS,
        log_config=LOGGING,
    )
    if workers > 1:
        Multiprocess(config, sockets=[listening]).run()
    else:
        uvicorn.Server(config).run(sockets=[listening])


LOGGING: dict[str, object] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"bare": {"format": "%(message)s"}, "server": {"format": "%(levelname)s %(message)s"}},
    "handlers": {
        "events": {"class": "logging.StreamHandler", "stream": "ext://sys.stderr", "formatter": "bare"},
        "server": {"class": "logging.StreamHandler", "stream": "ext://sys.stderr", "formatter": "server"},
    },
    "loggers": {
        "revledger": {"handlers": ["events"], "level": "INFO", "propagate": False},
        "uvicorn": {"handlers": ["server"], "level": "WARNING", "propagate": False},
    },
}
