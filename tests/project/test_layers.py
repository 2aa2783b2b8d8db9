"""What a layer loads when it is imported, asked of a fresh process: the import rules hold at run time too."""

import importlib
import json
import pkgutil
import subprocess
import sys

import pytest

REFUSED = ("sqlalchemy", "alembic", "fastapi", "starlette", "pydantic", "jinja2", "uvicorn", "app.record", "app.web")

LOAD = """
import importlib, json, sys
for name in json.loads(sys.argv[1]):
    importlib.import_module(name)
print(json.dumps(sorted(sys.modules)))
"""


def modules_of(package: str) -> list[str]:
    folder = importlib.import_module(package)
    return [package, *(found.name for found in pkgutil.walk_packages(folder.__path__, package + "."))]


def loaded_with(names: list[str]) -> list[str]:
    done = subprocess.run([sys.executable, "-c", LOAD, json.dumps(names)], capture_output=True, text=True, check=True)
    loaded: list[str] = json.loads(done.stdout)
    return loaded


@pytest.mark.parametrize("package", ["app.calc", "app.readers"])
def test_computation_and_readers_load_neither_web_nor_sql(package: str) -> None:
    names = modules_of(package)
    assert len(names) > 10
    loaded = loaded_with(names)
    assert [name for name in loaded if name.startswith(REFUSED)] == []


def test_the_check_sees_what_it_looks_for() -> None:
    assert [name for name in loaded_with(["app.record.engine"]) if name.startswith("sqlalchemy")]


def test_computation_loads_no_reader_and_neither_loads_an_act_or_a_page() -> None:
    loaded = loaded_with(modules_of("app.calc"))
    assert [
        name for name in loaded if name.startswith("app.") and not name.startswith(("app.calc", "app.errors"))
    ] == []
