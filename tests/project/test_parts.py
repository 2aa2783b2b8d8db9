"""The parts that pages are built from, rendered: what people type stays text, fields are tied to their notes."""

import json
import re

import pytest

from app.web.page import environment

ATTACK = "\"'></script><script>pwned()</script>{{ 7 * 7 }}&"
PAGE = '{% import "_components/page.html" as page %}'
FORMS = '{% import "_components/forms.html" as forms %}'
BUTTONS = '{% import "_components/buttons.html" as buttons %}'
TABLE = '{% import "_components/table.html" as tables %}'
TREE = '{% import "_components/tree.html" as trees %}'
CHART = '{% import "_components/chart.html" as charts %}'
STATUS = '{% import "_components/status.html" as status %}'
NODE = (
    '{"key": 0, "x": 0, "y": 0, "label": attack, "sub": attack, "href": "/x", "state": "ok", "state_text": attack,'
    ' "parent": None, "current": True}'
)


def _written(source: str) -> str:
    return environment().from_string(source).render(attack=ATTACK)


@pytest.mark.parametrize(
    "source",
    [
        PAGE + '{{ page.heading(attack, attack, crumbs=((attack, "/x"),)) }}',
        PAGE + "{{ page.facts(((attack, attack, attack),)) }}{{ page.evidence(((attack, attack),)) }}",
        PAGE
        + '{{ page.readout(attack, attack, attack, attack, attack) }}{{ page.empty(attack, attack, "/x", attack) }}',
        FORMS + "{{ forms.text('n', attack, attack, error=attack, help=attack, placeholder=attack, list=(attack,)) }}",
        FORMS + "{{ forms.number('n', attack, attack, units=((attack, attack),), attrs={'data-x': attack}) }}",
        FORMS + "{{ forms.select('n', attack, ((attack, attack),), attack) }}{{ forms.textarea('n', attack, attack) }}",
        BUTTONS + "{{ buttons.irreversible(attack, attack, '/x', attack, hidden={'a': attack}) }}",
        TABLE + "{{ tables.data_table(({'text': attack},), (({'text': attack, 'sort': attack},),), attack, 't') }}",
        TREE + "{{ trees.tree((" + NODE + ",), attack) }}",
        CHART + "{{ charts.chart('c', attack, attack, {'name': attack}) }}",
        STATUS + "{{ status.coding_banner(((attack, '/x', attack),)) }}{{ status.attention_item('ok', attack) }}",
    ],
)
def test_what_people_type_never_becomes_markup(source: str) -> None:
    written = _written(source)
    assert "7 * 7" in written
    assert "<script>" not in written
    assert "\"'>" not in written


def test_chart_data_survives_its_way_through_the_page() -> None:
    written = _written(CHART + '{{ charts.chart("c", "t", "s", {"name": attack, "y": [1.5, none]}) }}')
    block = re.search(r'<pre id="c-data" hidden>(.*?)</pre>', written, re.S)
    assert block is not None
    assert json.loads(block[1]) == {"name": ATTACK, "y": [1.5, None]}


def test_a_field_is_tied_to_its_label_help_and_error() -> None:
    written = _written(FORMS + '{{ forms.number("boost", "Boost", "x", unit="bar", help="h", error="e") }}')
    assert 'for="boost"' in written
    assert 'aria-describedby="boost-help boost-error"' in written
    assert 'aria-invalid="true"' in written
    assert 'id="boost-help"' in written
    assert 'id="boost-error"' in written


def test_a_refused_form_shows_what_was_typed() -> None:
    written = _written(FORMS + '{{ forms.number("boost", "Boost", "1,2,3", unit="bar", error="Give a number.") }}')
    assert 'value="1,2,3"' in written


def test_the_coding_banner_is_an_alert_and_absent_without_reason() -> None:
    assert 'role="alert"' in _written(STATUS + '{{ status.coding_banner((("A", "/a", "waits."),)) }}')
    assert _written(STATUS + "{{ status.coding_banner(()) }}").strip() == ""


def test_the_coding_banner_says_first_which_engine_is_meant() -> None:
    one = _written(STATUS + '{{ status.coding_banner((("A · 1", "/a", "waits."),)) }}')
    assert 'Do not start the engine of <a href="/a">A · 1</a></p>' in one
    two = _written(STATUS + '{{ status.coding_banner((("A · 1", "/a", "waits."), ("B · 2", "/b", "waits."))) }}')
    assert "any of these 2 cars" in two and two.count("waits.") == 2 and '<a href="/b">B · 2</a>' in two


def test_an_irreversible_step_can_be_confirmed_without_javascript() -> None:
    written = _written(BUTTONS + '{{ buttons.irreversible("Release", "This is recorded.", "/x", "key") }}')
    tick = re.search(r'<input type="checkbox"[^>]*name="confirmed"[^>]*>', written)
    assert tick is not None
    assert "required" in tick[0]
    assert written.count("This is recorded.") == 2  # shown, and given to the dialog


def test_a_number_that_is_compared_letter_by_letter_has_a_line_of_its_own_where_room_is_short() -> None:
    facts = _written(
        '{% from "_components/page.html" import facts %}'
        '{{ facts((("VIN", "U9ZSHP2A5K0000042"), ("Plate", "AB 12 CD"), ("Note", None), ("Empty", ""))) }}'
    )
    assert re.findall(r"<div( data-long)?><dt>(\w+)", facts) == [
        (" data-long", "VIN"), ("", "Plate"), ("", "Note"), ("", "Empty")
    ]  # fmt: skip
    table = _written(
        '{% from "_components/table.html" import data_table %}'
        '{{ data_table(({"text": "Car"}, {"text": "VIN"}, {"text": "Plate"}), '
        '(("A", "U9ZSHP2A5K0000042", "AB 12 CD"),), "Cars", "cars") }}'
    )
    assert re.findall(r'data-label="(\w+)"( data-long)?', table) == [("VIN", " data-long"), ("Plate", "")]
