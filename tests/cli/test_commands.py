"""The other commands: what they do, and how their errors read. Exit codes: 0 done, 1 failed, 2 wrongly called."""

import gc
import io
import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.orm import Session

from app.__main__ import main
from app.cli import database
from app.record import api_tokens, people
from app.record.engine import make_engine, transaction
from app.record.passwords import password_fits


@dataclass
class Ended:
    code: int
    out: str
    error: str


class Console:
    """Runs commands as the console script does, in this process, on a database of the test."""

    def __init__(self, database: Path, patch: pytest.MonkeyPatch, captured: pytest.CaptureFixture[str]) -> None:
        self.database, self.patch, self.captured = database, patch, captured
        patch.setenv("REVLEDGER_DATABASE_URL", f"sqlite:///{database}")

    def run(self, *arguments: str, stdin: str = "") -> Ended:
        self.patch.setattr("sys.argv", ["revledger", *arguments])
        self.patch.setattr("sys.stdin", io.StringIO(stdin))
        with pytest.raises(SystemExit) as ended:
            main()
        gc.collect()  # a command leaves its connections to the end of the process
        said = self.captured.readouterr()
        return Ended(int(ended.value.code or 0), said.out, said.err)

    def add(self, name: str = "Mara Quint") -> Ended:
        return self.run("person", "add", name, "--role", "manager", stdin="six blue geese walk\n")


@pytest.fixture
def console(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Console:
    return Console(tmp_path / "revledger.db", monkeypatch, capsys)


@contextmanager
def session_of(console: Console) -> Iterator[Session]:
    engine = make_engine(f"sqlite:///{console.database}")
    with transaction(engine) as session:
        yield session
    engine.dispose()


def test_people_tokens_and_passwords_are_made_from_the_console(console: Console) -> None:
    assert console.add() == Ended(0, "Mara Quint was added as manager.\n", "")
    token = console.run("token", "create", "mara quint", "--label", "dyno computer")
    assert token.code == 0
    reset = console.run("person", "reset-password", "Mara Quint", stdin="green lamps hum\n")
    assert reset == Ended(0, "Mara Quint has a new password.\n", "")
    with session_of(console) as session:
        person = people.by_name(session, "Mara Quint")
        assert person is not None
        assert password_fits(person.password_hash, "green lamps hum")
        holder = api_tokens.find(session, token.out.strip())
        assert holder is not None and holder.name == "Mara Quint"


def test_verify_says_what_holds_and_what_does_not(console: Console) -> None:
    console.add()
    clean = console.run("verify", "--json")
    found = json.loads(clean.out)
    assert clean.code == 0
    assert found["clean"] and found["entries"] == 1 and found["findings"] == []
    assert console.run("verify", "--anchor", found["head"]).code == 0
    assert console.run("verify", "--anchor", "1-0000000000000000").code == 1
    with session_of(console) as session:
        session.execute(text("drop trigger journal_entry_no_update"))
        session.execute(text("update journal_entry set body = replace(body, 'Mara', 'Nora')"))
    tampered = console.run("verify")
    assert tampered.code == 1
    assert "entry 1" in tampered.out


@pytest.mark.parametrize(
    ("arguments", "code", "sentence"),
    [
        (("verify", "--nope"), 2, "No such option: --nope; see revledger --help."),
        (("nope",), 2, "No such command 'nope'; see revledger --help."),
        (("person", "add", "Tom"), 2, "Missing option '--role'; see revledger --help."),
        (("serve", "--port", "99999"), 2, "Invalid value for '--port'"),
        (("verify", "--anchor", "zz"), 1, "“zz” is no journal head; write it as printed, like 12-0123456789abcdef."),
        (("token", "create", "Nobody", "--label", "x"), 1, "There is no person called Nobody."),
        (("person", "reset-password", "Nobody"), 1, "There is no person called Nobody."),
        (("person", "add", "Tom", "--role", "boss"), 1, "'boss' is no role; choose one of tuner, front_desk, manager."),
        (("person", "add", "Tom", "--role", "tuner"), 1, "The password has fewer than 10 characters"),
    ],
)
def test_an_error_is_one_sentence_on_standard_error(
    console: Console, arguments: tuple[str, ...], code: int, sentence: str
) -> None:
    failed = console.run(*arguments, stdin="short\n")
    assert failed.code == code
    assert failed.error.startswith(sentence)
    assert failed.error.count("\n") == 1 and failed.out == ""


def test_a_database_server_that_is_not_there_is_told_as_such(console: Console, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REVLEDGER_DATABASE_URL", "postgresql://127.0.0.1:1/none?connect_timeout=1")
    monkeypatch.setattr(database, "_PATIENCE_S", 0.1)
    failed = console.run("verify")
    assert failed.code == 1
    assert failed.error == "The database does not answer; check REVLEDGER_DATABASE_URL and that its server runs.\n"


def test_a_folder_that_cannot_be_made_is_told_as_such(console: Console, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REVLEDGER_DATABASE_URL", "sqlite:////proc/none/revledger.db")
    failed = console.run("verify")
    assert failed.code == 1
    assert failed.error.startswith("The folder /proc/none cannot be made")


def test_a_setting_that_cannot_be_used_is_named(console: Console, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REVLEDGER_TIME_ZONE", "Mars/Olympus")
    failed = console.run("verify")
    assert failed.code == 1
    assert "REVLEDGER_TIME_ZONE" in failed.error


def test_help_comes_without_loading_the_web_or_the_database(tmp_path: Path) -> None:
    asked = "import sys, app.__main__; print(sorted({'fastapi', 'sqlalchemy', 'numpy'} & set(sys.modules)))"
    loaded = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert loaded.stdout == "[]\n"
    helped = subprocess.run([sys.executable, "-m", "app", "--help"], capture_output=True, text=True, check=True)
    for command in ("serve", "verify", "person", "token"):
        assert command in helped.stdout
