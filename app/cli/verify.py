"""`revledger verify`: does the record still hold?"""

import json
from typing import Annotated

import typer


def verify(
    anchor: Annotated[
        list[str] | None, typer.Option(help="Journal head as printed on a certificate or report.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the result as JSON.")] = False,
) -> None:
    """Check the journal chain, every row and every stored file; exit code 1 when something does not hold."""
    from rich.console import Console
    from rich.progress import Progress

    from app.cli.database import open_database
    from app.record.engine import reading
    from app.record.verify import verify as verify_record
    from app.settings import from_environment
    from app.web.anchor import read_anchor

    anchors = [read_anchor(text) for text in anchor or ()]
    engine, _ = open_database(from_environment())
    with Progress(console=Console(stderr=True), transient=True) as bar, reading(engine) as session:
        tasks = {name: bar.add_task(name, total=None) for name in ("rows", "stored files", "comparisons")}
        found = verify_record(
            session,
            anchors=anchors,
            progress=lambda name, done, total: bar.update(tasks[name], completed=done, total=total),
        )
    if as_json:
        result = {
            "clean": found.clean,
            "entries": found.entries,
            "rows": found.rows,
            "stored_files": found.blobs,
            "head": found.head.short,
            "findings": list(found.findings),
        }
        typer.echo(json.dumps(result, indent=2))
    else:
        typer.echo("\n".join((found.sentence, *found.findings)))
    if not found.clean:
        raise typer.Exit(1)
