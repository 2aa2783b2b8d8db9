"""What every page shares: escaping, numbers with units, the workshop's time, what the frame shows."""

import html
import re
from dataclasses import fields
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from jinja2 import UndefinedError
from sqlalchemy import Engine

from app.actions.change_settings import change_settings
from app.pages.settings import PreferencesForm, ShopForm
from app.record import people
from app.record.engine import transaction
from app.record.settings import Shop
from app.resources import resource_dir
from app.web.assets import load_assets
from app.web.page import View, environment, writing_as
from app.web.units_view import CHOICES, UnitsView
from tests.browser import Browser

SUMMER = datetime(2026, 7, 1, 22, 30, tzinfo=UTC)


def write(template: str, view: View | None = None, **values: object) -> str:
    with writing_as(view or View()):
        return environment().from_string(template).render(values)


def test_every_template_is_escaped_whatever_its_name() -> None:
    assert environment().autoescape is True
    assert write("{{ x }}", x="<script>") == "&lt;script&gt;"


def test_no_template_switches_escaping_off() -> None:
    for file in resource_dir("templates").rglob("*"):
        if file.is_file():
            assert file.suffix == ".html", file
            text = file.read_text(encoding="utf-8")
            assert not re.search(r"\|\s*safe\b|autoescape|\bMarkup\b", text), file
            assert not re.search(r"""\son[a-z]+=|style=["']|javascript:""", text), file


def test_a_template_that_asks_for_what_its_page_does_not_give_fails() -> None:
    with pytest.raises(UndefinedError):
        write("{{ missing }}")


def test_a_moment_is_shown_in_the_workshops_time_zone() -> None:
    lisbon = View(zone=ZoneInfo("Europe/Lisbon"))
    assert write("{{ at | when }}", lisbon, at=SUMMER) == "1 Jul 2026, 23:30"
    assert write("{{ at | day }}", View(zone=ZoneInfo("Asia/Tokyo")), at=SUMMER) == "2 Jul 2026"
    assert write("{{ at | rfc3339 }}", lisbon, at=SUMMER) == "2026-07-01T22:30:00Z"
    assert write("{{ at | when }}", at=None) == "not recorded"


@pytest.mark.parametrize(
    ("template", "value", "expected"),
    [
        ("{{ x | power }}", 100.0, "134.1\u202fhp"),  # 1 hp = 550 ft·lbf/s = 0.745 699 87 kW
        ("{{ x | power(1.0) }}", 100.0, "134.1 ± 1.3\u202fhp"),
        ("{{ x | torque }}", 100.0, "73.8\u202flbf·ft"),  # 1 lbf·ft = 1.355 817 95 N·m
        ("{{ x | temperature }}", 25.0, "77.0\u202f°F"),
        ("{{ x | temperature(0.5) }}", 25.0, "77.0 ± 0.9\u202f°F"),  # a spread has no offset
        ("{{ x | pressure }}", 1013.25, "1013.2\u202fhPa"),
        ("{{ x | fuel_consumption }}", 7.840486, "30.0\u202fmpg (US)"),
        ("{{ x | vehicle_speed }}", 100.0, "62.1\u202fmph"),
        ("{{ x | engine_speed }}", 3500.4, "3500\u202frpm"),
        ("{{ x | difference('power', 2.0) }}", 10.0, "+13.4 ± 2.7\u202fhp"),
        ("{{ x | difference('power') }}", -10.0, "\u221213.4\u202fhp"),
        ("{{ x | difference('temperature') }}", 5.0, "+9.0\u202f°F"),
        ("{{ x | power }}", None, "not recorded"),
        ("{{ x | typed('temperature') }}", 25.0, "77"),
        ("{{ x | number(1) }}", -0.04, "0.0"),
        ("{{ x | number(2) }}", -1.5, "\u22121.50"),
        ("{{ x | file_size }}", 4 << 20, "4.0\u202fMiB"),
        ("{{ x | file_size }}", 1, "1\u202fbyte"),
        ("{{ x | hexadecimal }}", 0x8000, "0x8000"),
        ("{{ x | hexadecimal(8) }}", 0x1F, "0x0000001F"),
        ("{{ x | short_digest }}", "0123456789abcdef" * 4, "0123456789abcdef"),
    ],
)
def test_a_value_is_never_shown_without_its_unit(template: str, value: object, expected: str) -> None:
    """Factors: NIST SP 811, appendix B.8."""
    american = UnitsView(
        {
            "power": "hp",
            "torque": "lbf·ft",
            "temperature": "°F",
            "vehicle speed": "mph",
            "fuel consumption": "mpg (US)",
        }
    )
    assert write(template, View(american), x=value) == expected


@pytest.mark.parametrize("quantity", sorted(CHOICES))
def test_what_a_person_types_comes_back_as_stored(quantity: str) -> None:
    for symbol in CHOICES[quantity]:
        units = UnitsView({quantity: symbol})
        assert units.read(units.show(12.5, quantity), quantity) == pytest.approx(12.5, rel=1e-12)


def test_every_choice_of_units_is_on_the_settings_page() -> None:
    assert {quantity.replace(" ", "_") for quantity in CHOICES} == set(PreferencesForm.model_fields) - {
        "theme",
        "form_key",
    }


def test_every_setting_of_the_workshop_is_on_the_settings_page() -> None:
    assert {one.name for one in fields(Shop)} == set(ShopForm.model_fields) - {"form_key"}


def test_the_frame_names_the_person_and_the_shop_and_marks_the_page(manager: Browser, sqlite_engine: Engine) -> None:
    with transaction(sqlite_engine) as session:
        person = people.by_name(session, "manager")
        assert person is not None
        wanted = Shop(name="Nine Mile <Tuning>", time_zone="Asia/Tokyo")
        change_settings(session, person=person, at=SUMMER, wanted=wanted)
    page = manager.get("/journal").text
    assert "Nine Mile &lt;Tuning&gt;" in page
    assert '<a href="/journal" aria-current="page">Journal</a>' in page
    assert '<a href="/people">People</a>' in page
    assert "2 Jul 2026, 07:30" in page
    assert re.search(r"Journal head</a> <span class=\"mono\">1-[0-9a-f]{16}</span>", page)


@pytest.mark.parametrize(
    "address", ["/journal?act=change+preferences&before=2", "/vehicles?q=a%26b", "/dynos", "/inbox", "/people"]
)
def test_the_frame_leads_to_the_same_thing_as_json(manager: Browser, address: str) -> None:
    manager.submit("/settings/preferences", {"theme": "dark"})
    manager.submit("/settings/preferences", {"theme": "light"})
    link = re.search(r'<a href="([^"]+)" type="application/json">This page as JSON</a>', manager.get(address).text)
    assert link is not None
    path, _, query = address.partition("?")
    assert html.unescape(link[1]) == f"{path}.json" + (f"?{query}" if query else "")
    answer = manager.get(html.unescape(link[1]), follow_redirects=True)
    assert answer.headers["content-type"] == "application/json"
    if path == "/journal":
        assert [one["seq"] for one in answer.json()["items"]] == [1]


@pytest.mark.parametrize(
    "address",
    ["/", "/settings", "/search?q=x", "/vehicles/new", "/sign-in", "/nothing", "/journal/99", "/journal?from=x"],
)
def test_a_page_without_json_promises_none(manager: Browser, anonymous: Browser, address: str) -> None:
    for one in (manager, anonymous):
        assert "This page as JSON" not in one.get(address).text


def test_people_is_offered_to_managers_only(tuner: Browser) -> None:
    assert 'href="/people"' not in tuner.get("/journal").text


def test_a_persons_units_and_colours_are_theirs_alone(tuner: Browser, manager: Browser) -> None:
    assert tuner.submit("/settings/preferences", {"theme": "dark", "power": "PS"}).status_code == 303
    assert 'data-theme="dark"' in tuner.get("/settings").text
    assert "Units: PS" in tuner.get("/settings").text
    assert 'data-theme="system"' in manager.get("/settings").text
    assert "Units: kW" in manager.get("/settings").text
    assert tuner.submit("/settings/preferences", {"theme": "dark", "power": "kN"}).status_code == 422
    assert tuner.submit("/settings/preferences", {"theme": "pink"}).status_code == 422


def test_the_theme_switch_leads_back_to_the_page_it_stood_on(tuner: Browser) -> None:
    answer = tuner.submit("/theme", {"theme": "light"}, headers={"referer": "http://localhost/journal?before=3"})
    assert answer.headers["location"] == "/journal?before=3"


def test_the_workshops_settings_are_bounded(manager: Browser) -> None:
    good = {
        "name": "Nine Mile",
        "supply_minimum_v": "12,8",
        "supply_maximum_v": "15",
        "equivalence_margin_percent": "2.5",
    }
    assert manager.submit("/settings/shop", good).status_code == 303
    assert 'value="12.8"' in manager.get("/settings").text
    for changed in (
        {"supply_minimum_v": "99"},
        {"supply_maximum_v": "12.8"},
        {"equivalence_margin_percent": ""},
        {"time_zone": "Mars/Olympus"},
        {"name": " "},
    ):
        assert manager.submit("/settings/shop", good | changed).status_code == 422


# Static files


def test_only_the_files_that_pages_need_are_served(anonymous: Browser) -> None:
    assets = load_assets()
    assert {"htmx.js", "plotly.js", "icons/favicon.svg", "css/base.css"} <= set(assets.files)
    base = f"/static/{assets.version}"
    assert anonymous.get(assets.url("htmx.js")).status_code == 200
    for path in ("htmx-4.min.js", "datasets/iris.csv", "../pyproject.toml", "%2e%2e/pyproject.toml", "css/", ""):
        assert anonymous.get(f"{base}/{path}").status_code == 404
    assert anonymous.get("/static/000000000000/htmx.js").status_code == 404


def test_static_files_may_be_kept_for_good_and_the_large_one_comes_compressed(anonymous: Browser) -> None:
    answer = anonymous.get(load_assets().url("plotly.js"))
    assert answer.headers["cache-control"] == "public, max-age=31536000, immutable"
    assert answer.headers["content-encoding"] == "gzip"
    assert answer.content == load_assets().files["plotly.js"]
    plain = anonymous.get(load_assets().url("plotly.js"), headers={"accept-encoding": "identity"})
    assert "content-encoding" not in plain.headers and plain.content == answer.content
    assert anonymous.get("/favicon.ico").headers["content-type"] == "image/svg+xml"


def test_a_page_that_names_a_missing_file_fails() -> None:
    with pytest.raises(LookupError):
        load_assets().url("css/none.css")


def test_names_of_people_cannot_bring_markup_into_a_page(manager: Browser) -> None:
    name = "<img src=x onerror=alert(1)>'\"&"
    manager.submit("/people", {"name": name, "role": "tuner", "password": "green lamps hum"})
    for path in ("/people", "/journal", "/journal/1"):
        assert "<img" not in manager.get(path).text
