"""Numbers inside sentences, written alike on every page."""

import math

NARROW_SPACE = "\u202f"
MINUS = "\u2212"


def plain(value: float, decimals: int, *, sign: bool = False) -> str:
    """A number with a true minus sign and a fixed number of decimals; "−0.0" is written "0.0", and thousands are
    set apart from five digits on.

    >>> plain(-0.814, 2), plain(0.0, 1, sign=True), plain(12345.6, 0)
    ('−0.81', '0.0', '12,346')
    """
    if not math.isfinite(value):
        return "not known"
    grouping = "," if abs(value) >= 10_000 else ""
    text = f"{value:{'+' if sign else ''}{grouping}.{decimals}f}"
    if not text.strip("+-0."):
        text = text.lstrip("+-")
    return text.replace("-", MINUS)


def counted(count: int, one: str, many: str = "") -> str:
    """A number of things: the noun as it is for one, and for any other number with an s or as given.

    >>> counted(1, "entry", "entries"), counted(1200, "pull"), counted(0, "car")
    ('1 entry', '1,200 pulls', '0 cars')
    """
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def unit_of(unit: str) -> str:
    """The unit as shown: layouts write a dash where there is none."""
    return "" if unit.strip() in ("-", "–", "—") else unit


def with_unit(text: str, unit: str) -> str:
    """A figure and its unit, where it has one.

    >>> with_unit("0.98", "-"), with_unit("1.2", "bar")
    ('0.98', '1.2 bar')
    """
    return f"{text} {unit_of(unit)}".rstrip()


def rpm(speed: float) -> str:
    """An engine speed with its unit.

    >>> rpm(5950.0)
    '5,950\\u202frpm'
    """
    return f"{speed:,.0f}{NARROW_SPACE}rpm"
