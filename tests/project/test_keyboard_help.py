"""The list of keys says every key that the scripts answer to, and no other."""

import re

from app.resources import resource_dir

NAMES = {
    "Escape": "Esc", "ArrowUp": "↑", "ArrowDown": "↓", "ArrowLeft": "←", "ArrowRight": "→", "Home": "Home",
    "End": "End", "PageUp": "Page ↑", "PageDown": "Page ↓", "/": "/", "?": "?", "ctrlKey": "Ctrl",
}  # fmt: skip


def test_the_help_lists_the_keys_that_work() -> None:
    page = (resource_dir("templates") / "base.html").read_text(encoding="utf-8")
    listed = set(re.findall(r"<kbd>([^<]+)</kbd>", page[page.index('id="keyboard-help"') :]))
    answered = set()
    for script in ("keys.js", "grid.js"):
        source = (resource_dir("static") / "js" / script).read_text(encoding="utf-8")
        answered |= set(re.findall(r'key === "([^"]+)"', source))
        answered |= set(re.findall(r"\b(Arrow\w+|Home|End|Page\w+): ", source))
        answered |= {"ctrlKey"} if re.search(r"event\.ctrlKey \?", source) else set()
    assert len(answered) > 8
    assert listed == {NAMES[key] for key in answered}
