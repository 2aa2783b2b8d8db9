"""Held by reading the files: nothing inline, nothing undefined, nothing that a strict policy would refuse."""

import re
from pathlib import Path

import pytest

from app.resources import resource_dir
from app.web.assets import load_assets

STATIC = resource_dir("static")
TEMPLATES = resource_dir("templates")
PARTS = Path(__file__).with_name("parts")
TOKENS = (STATIC / "css/tokens.css").read_text(encoding="utf-8")
SHEETS = sorted((STATIC / "css").glob("*.css"))
SCRIPTS = sorted((STATIC / "js").glob("*.js"))
PAGES = sorted(path for path in TEMPLATES.rglob("*") if path.is_file())


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda path: path.name)
def test_each_name_that_a_style_sheet_uses_is_defined(sheet: Path) -> None:
    text = sheet.read_text(encoding="utf-8")
    defined = set(re.findall(r"(--[a-z0-9-]+):", TOKENS + text))
    assert set(re.findall(r"var\((--[a-z0-9-]+)", text)) <= defined
    assert "@import" not in text
    assert "url(" not in text


@pytest.mark.parametrize("sheet", [s for s in SHEETS if s.name != "tokens.css"], ids=lambda path: path.name)
def test_colours_come_from_the_palette(sheet: Path) -> None:
    found = set(re.findall(r"#[0-9a-fA-F]{3,8}\b(?![^{]*\{)", sheet.read_text(encoding="utf-8")))
    assert found <= {"#ffffff", "#000000", "#f0f2f1"}  # white and black of stripes and of paper


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.name)
def test_scripts_need_no_eval_and_write_no_markup(script: Path) -> None:
    text = script.read_text(encoding="utf-8")
    for refused in (
        "eval(",
        "new Function",
        "innerHTML",
        "outerHTML =",
        "insertAdjacentHTML",
        "document.write",
        "http:",
        "https:",
    ):
        assert refused not in text.replace("https or localhost", "").replace("plain http ", ""), refused


def _without_comments(path: Path) -> str:
    return re.sub(r"\{#.*?#\}", "", path.read_text(encoding="utf-8"), flags=re.S)


# `revledger gain --plot` writes it to disk, to be opened from there: never served, it carries its own style and script.
STANDS_ALONE = TEMPLATES / "dyno/gain_file.html"


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.relative_to(TEMPLATES).as_posix())
def test_templates_escape_everything(path: Path) -> None:
    text = _without_comments(path)
    assert path.suffix == ".html"  # the ending that Jinja's own default escapes, should the environment ever change
    assert not re.search(r"\sstyle\s*=", text)
    assert not re.search(r"\son[a-z]+\s*=\s*[\"']", text)
    assert not re.search(r"\bhx-on|javascript:", text)
    assert not re.search(r"\|\s*safe\b|\bautoescape\b|Markup", text)


@pytest.mark.parametrize(
    "path", [path for path in PAGES if path != STANDS_ALONE], ids=lambda path: path.relative_to(TEMPLATES).as_posix()
)
def test_served_templates_hold_nothing_inline(path: Path) -> None:
    text = _without_comments(path)
    assert not re.search(r"<style", text)
    for tag in re.findall(r"<script[^>]*>", text):
        assert "src=" in tag, tag


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.relative_to(TEMPLATES).as_posix())
def test_templates_name_only_icons_that_are_drawn(path: Path) -> None:
    drawn = set(re.findall(r'<symbol id="([a-z-]+)"', (STATIC / "icons/sprite.svg").read_text(encoding="utf-8")))
    text = _without_comments(path)
    named = set(re.findall(r'\bicon\("([a-z-]+)"', text)) | set(re.findall(r'icon_name="([a-z-]+)"', text))
    assert named <= drawn


def test_ids_of_the_parts_page_are_unique() -> None:
    ids = re.findall(r'\sid="([^"]+)"', (PARTS / "page.html").read_text(encoding="utf-8"))
    assert len(ids) == len(set(ids))


def test_the_charting_library_still_accepts_our_style_sheet_in_place_of_its_own() -> None:
    bundle = load_assets().files["plotly.js"].decode()
    assert 'i="plotly.js-style-"+e' in bundle
    assert '.matches(".no-inline-styles")' in bundle
    [geography] = re.findall(r'const GEOGRAPHY = "(\w+)"', (STATIC / "js/chart.js").read_text(encoding="utf-8"))
    assert f'if(!document.getElementById("{geography}"))' in bundle
    ours = (STATIC / "css/plotly-fixes.css").read_text(encoding="utf-8")
    # Positions without which a chart does not stand: read from the installed bundle.
    assert '"X .main-svg":"position:absolute;top:0;left:0;pointer-events:none;"' in bundle
    assert '"X .modebar":"position:absolute;top:2px;right:2px;"' in bundle
    assert ".main-svg { position: absolute; top: 0; left: 0;" in ours
    assert ".modebar { position: absolute; top: 2px; right: 2px; }" in ours
