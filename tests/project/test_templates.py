"""A page and its template agree: the template names every field of the page's dataclass and nothing else."""

import ast
import importlib
import pkgutil
import re
import typing
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from pathlib import Path
from types import ModuleType

import pytest
from jinja2 import meta, nodes

import app.pages
import app.web
from app.resources import resource_dir
from app.web.assets import load_assets
from app.web.page import environment

TEMPLATES = resource_dir("templates")
NAMES = sorted(path.relative_to(TEMPLATES).as_posix() for path in TEMPLATES.rglob("*.html"))
RENDERERS = {"render": 1, "render_fragment": 1, "render_plain": 1}


@dataclass(frozen=True, slots=True)
class Rendering:
    """One call that renders: where it stands, the template, the dataclass of the page."""

    where: str
    template: str
    page: type


def _modules() -> Iterator[ModuleType]:
    for found in pkgutil.walk_packages(app.pages.__path__, "app.pages."):
        yield importlib.import_module(found.name)
    yield importlib.import_module("app.web.errors")


def _renderings() -> list[Rendering]:
    return [one for module in _modules() for one in _renderings_of(module)]


def _renderings_of(module: ModuleType) -> Iterator[Rendering]:
    assert module.__file__ is not None
    tree = ast.parse(Path(module.__file__).read_text(encoding="utf-8"))
    for function in ast.walk(tree):
        if not isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef):
            continue
        for call in ast.walk(function):
            if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id in RENDERERS:
                where = f"{module.__name__}:{call.lineno}"
                template, page = call.args[1], call.args[2]
                assert isinstance(template, ast.Constant), f"{where}: write the template's name where it is rendered"
                for made in _made_as(page, function):
                    yield Rendering(where, template.value, _type_of(made, module, where))


def _replaced(made: ast.expr) -> ast.expr | None:
    """What dataclasses.replace takes: its outcome is of the same type."""
    if isinstance(made, ast.Call) and isinstance(made.func, ast.Name) and made.func.id == "replace":
        return made.args[0]
    return None


def _made_as(page: ast.expr, function: ast.FunctionDef | ast.AsyncFunctionDef) -> list[ast.expr]:
    """The expressions that a page variable is assigned from in its function, or the expression itself."""
    if (before := _replaced(page)) is not None:
        return _made_as(before, function)
    if not isinstance(page, ast.Name):
        return [page]
    made = [
        node.value
        for node in ast.walk(function)
        if isinstance(node, ast.Assign)
        and any(isinstance(target, ast.Name) and target.id == page.id for target in node.targets)
        and getattr(_replaced(node.value), "id", "") != page.id
    ]
    annotated = [
        one.annotation
        for one in [*function.args.args, *function.args.kwonlyargs]
        if one.arg == page.id and one.annotation is not None
    ]
    assert made or annotated, f"{function.name}: where does {page.id} come from?"
    return [source for one in made for source in _made_as(one, function)] or annotated


def _type_of(made: ast.expr, module: ModuleType, where: str) -> type:
    source = made.func if isinstance(made, ast.Call) else made
    found = eval(ast.unparse(source), vars(module))  # the module's own names
    if not isinstance(found, type):
        found = typing.get_type_hints(found)["return"]
    assert isinstance(found, type) and is_dataclass(found), f"{where}: {found} is no dataclass"
    return found


@cache
def _parsed(name: str) -> nodes.Template:
    env = environment()
    assert env.loader is not None
    return env.parse(env.loader.get_source(env, name)[0])


def _related(name: str) -> set[str]:
    """The template, what it extends and what it includes: all that see its variables."""
    found = {name}
    for other in _parsed(name).find_all((nodes.Extends, nodes.Include)):
        assert isinstance(other.template, nodes.Const), f"{name}: a template is named by its name"
        found |= _related(other.template.value)
    return found


def _brought(name: str) -> set[str]:
    """Names that a template imports, defines or sets; Jinja counts some of their uses as uses of a variable."""
    found = {macro.name for macro in _parsed(name).find_all(nodes.Macro)}
    found |= {one.target for one in _parsed(name).find_all(nodes.Import)}
    for one in _parsed(name).find_all(nodes.Assign):
        found |= {target.name for target in [one.target, *one.target.find_all(nodes.Name)] if hasattr(target, "name")}
    for one in _parsed(name).find_all(nodes.FromImport):
        found |= {alias if isinstance(alias, str) else alias[1] for alias in one.names}
    return found


def _used(name: str) -> set[str]:
    found: set[str] = set()
    for one in _related(name):
        found |= meta.find_undeclared_variables(_parsed(one)) - _brought(one)
    return found - set(environment().globals) - {"chrome"}


def _reached(names: set[str]) -> set[str]:
    """The templates and all that they extend, include or import, however far."""
    reached = set(names)
    while True:
        further = {
            other.template.value
            for name in reached
            for other in _parsed(name).find_all((nodes.Extends, nodes.Include, nodes.Import, nodes.FromImport))
            if isinstance(other.template, nodes.Const)
        }
        if further <= reached:
            return reached
        reached |= further


RENDERINGS = _renderings()


def test_the_renderings_are_found() -> None:
    assert len(RENDERINGS) > 20
    assert {one.template for one in RENDERINGS} <= set(NAMES)


@pytest.mark.parametrize("template", sorted({one.template for one in RENDERINGS}))
def test_a_template_names_only_fields_of_its_page(template: str) -> None:
    for one in RENDERINGS:
        if one.template == template:
            unknown = _used(template) - {field.name for field in fields(one.page)}
            assert unknown == set(), f"{one.where}: {one.page.__name__} has no such fields"


@pytest.mark.parametrize("page", sorted({one.page for one in RENDERINGS}, key=str), ids=lambda page: page.__name__)
def test_every_field_of_a_page_is_named_by_its_templates(page: type) -> None:
    """A part of a page, sent alone to htmx, may use fewer fields than the page it is a part of."""
    used: set[str] = set()
    for one in RENDERINGS:
        if one.page is page:
            used |= _used(one.template)
    assert {field.name for field in fields(page)} - used == set()


def _parts_of(page: type) -> Iterator[type]:
    """Dataclasses among the types of the page's fields, however deep."""
    for hint in typing.get_type_hints(page).values():
        yield from _dataclasses_in(hint)


def _dataclasses_in(hint: object) -> Iterator[type]:
    if isinstance(hint, type) and is_dataclass(hint):
        yield hint
        yield from _parts_of(hint)
    for inner in typing.get_args(hint):
        yield from _dataclasses_in(inner)


def test_every_value_of_a_pages_parts_is_shown_somewhere() -> None:
    """Fields of the rows and units that pages hold: some template of a page that holds them names each."""
    named: dict[type, set[str]] = {}
    for one in RENDERINGS:
        reached = _reached({one.template})
        attributes = {node.attr for name in reached for node in _parsed(name).find_all(nodes.Getattr)}
        for part in _parts_of(one.page):
            if not part.__module__.startswith("app.pages."):
                continue  # a value of the record may hold more than one page shows
            if any(not name.startswith("_") for name in set(vars(part)) - {field.name for field in fields(part)}):
                continue  # a thing that answers questions, not a row of values
            named.setdefault(part, set()).update(attributes)
    unused = {
        f"{part.__module__}.{part.__name__}.{field.name}"
        for part, attributes in named.items()
        for field in fields(part)
        if field.name not in attributes
    }
    assert unused == set()


@pytest.mark.parametrize("name", NAMES)
def test_what_a_template_names_exists(name: str) -> None:
    source = (TEMPLATES / name).read_text(encoding="utf-8")
    assets = set(re.findall(r'\basset\(["\']([^"\']+)["\']\)', source))
    assert assets <= set(load_assets().files)
    for other in _parsed(name).find_all((nodes.Extends, nodes.Include, nodes.Import, nodes.FromImport)):
        assert isinstance(other.template, nodes.Const)
        assert other.template.value in NAMES


def test_no_template_lies_about_unused() -> None:
    code = "".join(path.read_text(encoding="utf-8") for path in Path(app.web.__path__[0]).parent.rglob("*.py"))
    named = set(re.findall(r"get_template\(\"([^\"]+)\"\)", code))
    assert set(NAMES) - _reached({one.template for one in RENDERINGS} | named) == set()


def test_no_static_file_lies_about_unused() -> None:
    """Each is named by a template, by another script, or by the code that finds the files of the wheels."""
    sources = [(TEMPLATES / name).read_text(encoding="utf-8") for name in NAMES]
    sources += [data.decode() for name, data in load_assets().files.items() if name.startswith("js/")]
    sources += [path.read_text(encoding="utf-8") for path in Path(app.web.__path__[0]).glob("*.py")]
    whole = "".join(sources)
    named = set(re.findall(r"[\"'/]([\w.-]+)[\"']", whole))
    unused = {name for name in load_assets().files if not {Path(name).name, Path(name).stem} & named}
    assert unused == set()
