"""The command line: which commands there are, and how an error leaves."""

import sys

import typer

from app.cli import person, token
from app.cli.backup import backup, recover
from app.cli.bag import export, take_in
from app.cli.compare import compare
from app.cli.demo import demo
from app.cli.gain import SeveralAgainst, gain
from app.cli.roller_power import roller_power
from app.cli.runs import import_runs, watch
from app.cli.serve import serve
from app.cli.verify import verify
from app.errors import AppError

commands = typer.Typer(
    help="The record of calibration changes that a workshop keeps.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
people = typer.Typer(help="People who can sign in.", no_args_is_help=True)
tokens = typer.Typer(help="Tokens for programs that use the API.", no_args_is_help=True)
commands.add_typer(people, name="person")
commands.add_typer(tokens, name="token")

# One line per command.
commands.command("demo")(demo)
commands.command("serve")(serve)
commands.command("verify")(verify)
commands.command("backup")(backup)
commands.command("recover")(recover)
commands.command("export")(export)
commands.command("take-in")(take_in)
commands.command("import-runs")(import_runs)
commands.command("watch")(watch)
commands.command("compare")(compare)
commands.command("gain", cls=SeveralAgainst)(gain)
commands.command("roller-power")(roller_power)
people.command("add")(person.add)
people.command("reset-password")(person.reset_password)
tokens.command("create")(token.create)


def main() -> None:
    """Run a command: 0 done, 1 failed, 2 wrongly called; an error is one sentence on standard error."""
    try:
        sys.exit(commands(standalone_mode=False) or 0)
    except typer.TyperException as error:
        fail(_sentence(error), 2)
    except AppError as error:
        fail("\n".join((str(error), *error.details)), 1)
    except (typer.Abort, KeyboardInterrupt):
        fail("Ended before it was done.", 130)


def _sentence(misuse: typer.TyperException) -> str:
    """What was wrong with the call, and where the help is."""
    text = str(getattr(misuse, "format_message", misuse.__str__)()).strip()
    return f"{text.rstrip('.')}; see revledger --help." if text else "Name a command."


def fail(sentence: str, code: int) -> None:
    sys.stderr.write(sentence + "\n")
    sys.exit(code)


if __name__ == "__main__":
    main()
