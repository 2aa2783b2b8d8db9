"""A person at a screen: opens pages, follows links, fills fields by their labels, sends forms."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from playwright.sync_api import FilePayload, Locator, Page, expect


class Person:
    """What a person does with mouse and keyboard; every step waits for the page that answers."""

    def __init__(self, page: Page, name: str, password: str, *, scripts: bool = True) -> None:
        self.page = page
        self.name = name
        self.password = password
        self.scripts = scripts

    def sign_in(self) -> None:
        self.page.goto("/sign-in")
        self.page.get_by_label("Name", exact=True).fill(self.name)
        self.page.get_by_label("Password").fill(self.password)
        self.press("Sign in")
        expect(self.heading("Today")).to_be_visible()

    def go(self, address: str) -> None:
        answer = self.page.goto(address)
        assert answer is not None
        assert answer.status == 200, f"{address}: {answer.status}"

    def heading(self, text: str | re.Pattern[str]) -> Locator:
        return self.page.get_by_role("heading", name=text, level=1)

    def follow(self, text: str | re.Pattern[str], inside: Locator | None = None) -> None:
        """Click a link that leads to another page."""
        link = (inside or self.page.locator("main")).get_by_role("link", name=text).first
        before = self.page.url
        link.click()
        self.page.wait_for_url(lambda url: url != before)
        self.page.wait_for_load_state()

    def press(self, text: str | re.Pattern[str], inside: Locator | None = None) -> None:
        """Press a button that sends its form, and wait for the page that answers."""
        with self.page.expect_navigation():
            (inside or self.page.locator("main")).get_by_role("button", name=text, exact=True).first.click()

    def form(self, action: str) -> Locator:
        """The form that posts to an address ending so."""
        return self.page.locator(f"form[method=post][action$='{action}']").first

    def fill(self, form: Locator, fields: Mapping[str, Any]) -> None:
        """Fill fields by the beginning of their labels.

        A text is typed, True ticks, ("choose", text) chooses, ("file", name, bytes) hands a file in, a list several.
        """
        for label, value in fields.items():
            field = form.get_by_label(re.compile(f"^{re.escape(label)}")).first
            if value is True:
                field.check()
            elif isinstance(value, tuple) and value[0] == "choose":
                field.select_option(label=value[1])
            elif isinstance(value, tuple):
                field.set_input_files(payload(value[1], value[2]))
            elif isinstance(value, list):
                field.set_input_files([payload(name, data) for _, name, data in value])
            else:
                field.fill(value)

    def confirm(self, form: Locator, text: str) -> None:
        """Press the button of a step that cannot be taken back, and answer its question with yes: in the dialog, or
        by the tick that stands in the form of a browser without scripts."""
        if not self.scripts:
            form.get_by_label("I have read this.").check()
            self.press(text, form)
            return
        sentence = form.get_attribute("data-confirm")
        form.get_by_role("button", name=text, exact=True).click()
        dialog = self.page.locator("dialog[open]")
        expect(dialog).to_contain_text(str(sentence))
        with self.page.expect_navigation():
            dialog.get_by_role("button", name=text, exact=True).click()

    def reads(self, *sentences: str | re.Pattern[str]) -> None:
        """What stands in the page's content."""
        for sentence in sentences:
            expect(self.page.locator("main")).to_contain_text(sentence)

    def is_refused(self, *sentences: str | re.Pattern[str]) -> None:
        """The summary above a refused form says so."""
        for sentence in sentences:
            expect(self.page.locator(".form-errors").first).to_contain_text(sentence)


def payload(name: str, data: bytes) -> FilePayload:
    return {"name": Path(name).name, "mimeType": "application/octet-stream", "buffer": data}
