"""Password hashes, and the passwords that are refused. ASVS 5.0.0: 6.2.1, 6.2.4, 6.2.9, 11.4.2."""

import pytest

from app.errors import BadInput
from app.record.passwords import hash_password, password_fits, refuse_weak

WEAK = [
    ("short", "Mara Quint"),
    ("x" * 9, "Mara Quint"),
    ("x" * 1025, "Mara Quint"),
    ("aaaaaaaaaaaa", "Mara Quint"),
    ("abababababab", "Mara Quint"),
    ("0123456789", "Mara Quint"),
    ("9876543210", "Mara Quint"),
    ("qwertyuiop", "Mara Quint"),
    ("Mara Quint", "Mara Quint"),
    ("maraquint2026", "Mara Quint"),
    ("Password123!", "Mara Quint"),
    ("Workshop2026", "Mara Quint"),
]


@pytest.mark.parametrize(("password", "name"), WEAK)
def test_a_password_that_is_tried_first_is_refused(password: str, name: str) -> None:
    with pytest.raises(BadInput) as refused:
        refuse_weak(password, name)
    assert refused.value.field == "password"
    assert password not in refused.value.sentence


@pytest.mark.parametrize(
    "password",
    [
        "six blue geese walk",
        "Übergang-Öl-31",
        "tall oaks sway",
        "k3$Lq!92xZ",
        "密码很长也可以用的吧好",
        "one long sentence " * 5,
    ],
)
def test_long_passwords_of_any_script_with_spaces_are_taken(password: str) -> None:
    refuse_weak(password, "Mara Quint")


def test_a_hash_fits_its_password_only_and_differs_each_time() -> None:
    first, second = hash_password("six blue geese walk"), hash_password("six blue geese walk")
    assert first != second and first.startswith("$argon2id$")
    assert password_fits(first, "six blue geese walk")
    assert not password_fits(first, "six blue geese walk ")
    assert not password_fits(first, "")
    assert not password_fits(None, "six blue geese walk")
    assert not password_fits("no hash at all", "six blue geese walk")
