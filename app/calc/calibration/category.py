"""A first guess of what a map is for, from the words people gave it. A person can always change it."""

import re
from collections.abc import Iterable

from app.calc.calibration.layout import Category

_PIECE = re.compile(r"[A-Z]?[a-z]+|[A-Z]+(?![a-z])")

# Common practice, no source: the order matters, a "boost limit" is a limiter before it is boost.
_LIMITER = ("limit", "limits", "limiter", "limiters", "limitation", "lim", "max", "maximum", "cutoff", "governor")
_WORDS: tuple[tuple[Category, tuple[str, ...]], ...] = (
    ("ignition", ("ignition", "ign", "spark", "knock", "dwell", "retard")),
    ("boost", ("boost", "wastegate", "turbo", "turbocharger", "supercharger", "compressor", "charger")),
    ("driver demand", ("pedal", "accelerator", "driver")),
    ("transmission", ("transmission", "gearbox", "shift", "clutch", "converter")),
    ("fuel", ("fuel", "fuelling", "fueling", "injection", "injector", "inj", "lambda", "mixture", "afr", "enrichment")),
    ("torque", ("torque", "trq")),
)
_BY_WORD: dict[str, tuple[int, Category]] = {
    word: (rank, category) for rank, (category, words) in enumerate(_WORDS) for word in words
}
_BY_WORD |= dict.fromkeys(_LIMITER, (-1, "limiter"))


def categorise(name: str, description: str = "", groups: Iterable[str] = ()) -> Category:
    """The category the words point to: a limiter by its own words, then by its groups, then by its own words.

    >>> categorise("IgnBaseAdvance", "basic spark angle")
    'ignition'
    >>> categorise("boost_limit_by_gear")
    'limiter'
    >>> categorise("KF12", "", ["Fuel injection"])
    'fuel'
    """
    own = _best(f"{name} {description}")
    if own == "limiter":
        return own
    for group in groups:
        found = _best(group)
        if found not in ("other", "limiter"):
            return found
    return own


def _best(text: str) -> Category:
    found = [_BY_WORD[word] for piece in _PIECE.findall(text) if (word := piece.lower()) in _BY_WORD]
    return min(found)[1] if found else "other"
