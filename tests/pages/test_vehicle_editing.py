"""Changing a car, its customer, and printing its key tag, through the pages as a browser sees them."""

import re
import xml.etree.ElementTree as ET

import pytest
from fastapi import FastAPI

from tests.browser import Browser

CAR = {
    "vin": "UU9KLN3C60NB00451",
    "plate": "EB 18 LNR",
    "make": "Tarkess",
    "model": "Lanner",
    "fuel": "petrol",
    "driven_axles": "rear",
    "loses_coding": "yes",
    "rated_power": "221.07",
    "customer_name": "Ottoline Vessmer",
}


@pytest.fixture
def car(front_desk: Browser) -> str:
    answer = front_desk.submit("/vehicles", CAR)
    assert answer.status_code == 303
    return str(answer.headers["location"])


def typed(page: str) -> dict[str, str]:
    """Name → value of what stands in the form that is the page's own."""
    form = page[page.index('class="form"') :]
    form = form[: form.index("</form>")]
    found = dict(re.findall(r'<input type="(?:text|hidden)"[^>]* name="([^"]*)"[^>]* value="([^"]*)"', form))
    numbers = r'<input class="number-input"[^>]* name="([^"]*)"[^>]* value="([^"]*)"'
    found |= dict(re.findall(numbers, form))
    found |= dict(re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)"', form))
    found |= dict(re.findall(r'<input type="radio"[^>]* name="([^"]*)" value="([^"]*)" checked', form))
    chosen = r'<select id="[^"]*" name="([^"]*)"(?:(?!</select>).)*<option value="([^"]*)" selected'
    found |= dict(re.findall(chosen, form, re.S))
    found.pop("form_key", None)
    return found


def test_a_change_shows_on_the_car_and_in_its_history(front_desk: Browser, car: str) -> None:
    form = typed(front_desk.get(f"{car}/edit").text)
    assert form["plate"] == "EB 18 LNR"
    assert front_desk.submit(f"{car}/edit", form | {"plate": "kq 7 rst"}).headers["location"] == car
    page = front_desk.get(car).text
    assert "KQ 7 RST" in page
    assert "Plate EB 18 LNR → KQ 7 RST" in page


def test_a_number_that_nobody_touched_keeps_its_digits_in_any_unit(front_desk: Browser, car: str) -> None:
    """221.07 kW reads 296.459 hp: sent back untouched it must not become 221.0695 kW."""
    front_desk.submit("/settings/preferences", {"power": "hp"})
    form = typed(front_desk.get(f"{car}/edit").text)
    front_desk.submit(f"{car}/edit", form | {"engine": "3.6 L six-cylinder"})
    stored = front_desk.get("/api/v1" + car).json()
    assert stored["engine"] == "3.6 L six-cylinder"
    assert stored["rated_power_kw"] == 221.07


def test_a_refused_change_shows_the_sentence_and_what_was_typed(front_desk: Browser, car: str) -> None:
    form = typed(front_desk.get(f"{car}/edit").text)
    answer = front_desk.submit(f"{car}/edit", form | {"test_mass": "15", "engine": "typed already"})
    assert answer.status_code == 422
    assert "lies outside" in answer.text
    assert typed(answer.text)["engine"] == "typed already"


def test_the_second_of_two_people_who_change_a_car_at_once_is_told(front_desk: Browser, car: str) -> None:
    form = typed(front_desk.get(f"{car}/edit").text)
    front_desk.submit(f"{car}/edit", form | {"model": "Lanner 3.6"})
    answer = front_desk.submit(f"{car}/edit", form | {"model": "Lanner 3.2"})
    assert answer.status_code == 409
    assert "Somebody else" in answer.text


def test_the_front_desk_cannot_correct_a_vin(front_desk: Browser, tuner: Browser, car: str) -> None:
    form = typed(front_desk.get(f"{car}/edit").text) | {"vin": "1M8GDM9AXKP042788", "reason": "typing slip"}
    assert front_desk.submit(f"{car}/edit", form).status_code == 403
    assert tuner.submit(f"{car}/edit", form).status_code == 303


def test_an_erased_customer_is_shown_as_erased_and_gone_from_search(manager: Browser, car: str) -> None:
    listed = manager.get("/customers?q=vessmer").text
    address = re.search(r'href="(/customers/\d+)"', listed)
    assert address is not None
    assert manager.submit(f"{address[1]}/erase").status_code == 422
    assert manager.submit(f"{address[1]}/erase", {"confirmed": "yes"}).headers["location"] == address[1]
    for page in (car, "/vehicles", address[1]):
        text = manager.get(page).text
        assert "erased on request" in text
        assert "Vessmer" not in text
    assert "No car has" in manager.get("/search?q=vessmer").text
    assert manager.get("/api/v1" + car).json()["customer_name"] is None


def test_the_customer_of_a_car_is_corrected_by_the_front_desk(front_desk: Browser, car: str) -> None:
    front_desk.submit(f"{car}/customer", {"customer_name": "Ottoline Vesmer", "customer_contact": "", "another": "no"})
    page = front_desk.get(car).text
    assert "Ottoline Vesmer" in page
    assert "Customer 1 corrected for this car." in page
    empty = front_desk.submit(f"{car}/customer", {"customer_name": ""})
    assert empty.status_code == 422


def modules_of(svg: str) -> list[list[bool]]:
    """The dark modules of a code that segno draws as one stroked path: runs of unit squares, row by row."""
    root = ET.fromstring(svg)
    size = int(root.attrib["viewBox"].split()[2])
    dark = [[False] * size for _ in range(size)]
    stroke = next(path.attrib["d"] for path in root.iter("path") if "stroke" in path.attrib)
    x, y = 0.0, 0.0
    for command, numbers in re.findall(r"([Mmh])(-?[\d. -]+)", stroke):
        values = [float(one) for one in re.findall(r"-?\d*\.?\d+", numbers)]
        if command == "M":
            x, y = values
        elif command == "m":
            x, y = x + values[0], y + values[1]
        else:
            for step in range(int(values[0])):
                dark[int(y)][int(x) + step] = True
            x += values[0]
    return dark


def test_the_label_carries_a_code_of_the_cars_address(front_desk: Browser, car: str) -> None:
    """The address is found in the code by decoding it after ISO/IEC 18004 for the mask and version that it states."""
    page = front_desk.get(f"{car}/label").text
    found = re.search(r'<svg [^>]*class="key-tag-code".*?</svg>', page, re.S)
    assert found is not None
    svg = found[0]
    assert "style=" not in svg
    assert decoded(modules_of(svg)) == "http://localhost/vehicles/by-vin/UU9KLN3C60NB00451"
    assert "EB 18 LNR" in page
    answer = front_desk.get("/vehicles/by-vin/UU9KLN3C60NB00451")
    assert (answer.status_code, answer.headers["location"]) == (303, car)


# ISO/IEC 18004 tables 7 and 9, level M, as far as an address of this length reaches: data codewords per block.
BLOCKS_M = {1: [16], 2: [28], 3: [44], 4: [32, 32], 5: [43, 43], 6: [27] * 4}


def decoded(picture: list[list[bool]]) -> str:
    """The text of a clean QR code of level M, byte mode, versions 1 to 6 (ISO/IEC 18004:2015, 7.3 to 7.9)."""
    code = [row[4:-4] for row in picture[4:-4]]
    size = len(code)
    version = (size - 17) // 4
    format_bits = [code[8][x] for x in (0, 1, 2, 3, 4, 5, 7, 8)] + [code[y][8] for y in (7, 5, 4, 3, 2, 1, 0)]
    number = sum(bit << (14 - i) for i, bit in enumerate(format_bits)) ^ 0b101010000010010
    assert number >> 13 == 0b00, "level M"
    mask = number >> 10 & 0b111
    bits = [code[y][x] ^ masked(mask, y, x) for y, x in path(size, version)]
    words = [sum(bit << (7 - i) for i, bit in enumerate(bits[k : k + 8])) for k in range(0, len(bits) - 7, 8)]
    blocks = BLOCKS_M[version]
    data: list[list[int]] = [[] for _ in blocks]
    source = iter(words)
    for position in range(max(blocks)):
        for block, length in zip(data, blocks, strict=True):
            if position < length:
                block.append(next(source))
    stream = "".join(f"{word:08b}" for block in data for word in block)
    assert stream[:4] == "0100", "byte mode"
    length = int(stream[4:12], 2)
    return bytes(int(stream[12 + 8 * i : 20 + 8 * i], 2) for i in range(length)).decode()


def masked(mask: int, i: int, j: int) -> bool:
    rules = (
        (i + j) % 2,
        i % 2,
        j % 3,
        (i + j) % 3,
        (i // 2 + j // 3) % 2,
        i * j % 2 + i * j % 3,
        (i * j % 2 + i * j % 3) % 2,
        ((i + j) % 2 + i * j % 3) % 2,
    )
    return rules[mask] == 0


def path(size: int, version: int) -> list[tuple[int, int]]:
    """Modules of data in reading order: pairs of columns from the right, upwards and downwards in turn."""
    places = []
    upwards = True
    for right in [x for x in range(size - 1, 0, -2) if x > 6] + [5, 3, 1]:
        for y in range(size - 1, -1, -1) if upwards else range(size):
            places += [(y, x) for x in (right, right - 1) if not reserved(size, version, y, x)]
        upwards = not upwards
    return places


def reserved(size: int, version: int, y: int, x: int) -> bool:
    finder = (y < 9 and x < 9) or (y < 9 and x >= size - 8) or (y >= size - 8 and x < 9)
    centre = size - 7
    aligned = version > 1 and abs(y - centre) <= 2 and abs(x - centre) <= 2
    return finder or aligned or y == 6 or x == 6


def test_the_label_warns_while_its_address_reaches_nobody_else(front_desk: Browser, app: FastAPI, car: str) -> None:
    assert "this computer alone" in front_desk.get(f"{car}/label").text
