"""Held by computing: text can be read, colours stay apart without red-green sight, red is kept for danger."""

import itertools
import math
import re

import pytest

from app.resources import resource_dir

TOKENS = (resource_dir("static") / "css/tokens.css").read_text(encoding="utf-8")
THEMES = ("light", "dark")

Rgb = tuple[float, float, float]


def _rgb(text: str) -> Rgb:
    red, green, blue = (int(text[i : i + 2], 16) / 255 for i in (1, 3, 5))
    return red, green, blue


def _palette(theme: str) -> dict[str, Rgb]:
    found: dict[str, Rgb] = {}
    for name, value in re.findall(r"--([a-z0-9-]+): ([^;]+);", TOKENS):
        both = re.fullmatch(r"light-dark\((#[0-9a-f]{6}), (#[0-9a-f]{6})\)", value)
        if both:
            found[name] = _rgb(both[1 + THEMES.index(theme)])
        elif re.fullmatch(r"#[0-9a-f]{6}", value):
            found[name] = _rgb(value)
    return found


def _linear(channel: float) -> float:
    # WCAG 2.2, definition of relative luminance (sRGB, IEC 61966-2-1).
    return channel / 12.92 if channel <= 0.04045 else float(((channel + 0.055) / 1.055) ** 2.4)


def _luminance(colour: Rgb) -> float:
    red, green, blue = map(_linear, colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: Rgb, other: Rgb) -> float:
    """WCAG 2.2, definition of contrast ratio."""
    dark, light = sorted((_luminance(one), _luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_formula_gives_the_published_values() -> None:
    # 21:1 is the definition's own maximum. #777777 on white 4.48:1 and #767676 4.54:1: common knowledge of
    # accessibility work, from memory.
    assert contrast(_rgb("#000000"), _rgb("#ffffff")) == pytest.approx(21)
    assert contrast(_rgb("#777777"), _rgb("#ffffff")) == pytest.approx(4.48, abs=0.005)
    assert contrast(_rgb("#767676"), _rgb("#ffffff")) == pytest.approx(4.54, abs=0.005)


PAPERS = ("ground", "surface", "sunken")
TEXT = [
    *((ink, paper) for ink in ("ink", "ink-soft") for paper in PAPERS),
    *(("accent", paper) for paper in ("ground", "surface", "danger-soft", "attention-soft", "accent-soft")),
    *((state, f"{state}-soft") for state in ("ok", "attention", "danger", "unknown", "info")),
    *(("ink", f"{state}-soft") for state in ("ok", "attention", "danger", "unknown", "info", "accent")),
    ("danger", "surface"),
    ("on-accent", "accent"),
    ("on-accent", "accent-strong"),
    ("on-danger", "danger-solid"),
    *(("on-diff-pale", f"diff-{way}-{step}") for way in ("less", "more") for step in (1, 2)),
    *(("on-diff-deep", f"diff-{way}-{step}") for way in ("less", "more") for step in (3, 4)),
]
# Edges of controls, curves and focus: 3:1 (WCAG 2.2, 1.4.11).
SHAPES = [
    *(("rule-strong", paper) for paper in ("ground", "surface")),
    *((state, paper) for state in ("ok", "attention", "danger", "unknown", "info") for paper in ("ground", "surface")),
    *((f"chart-{n}", "chart-paper") for n in (1, 2, 3, 4, 5, 6)),
    *((role, "chart-paper") for role in ("chart-before", "chart-after", "chart-limit")),
    *(("focus", paper) for paper in PAPERS),
]


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize(("ink", "paper"), TEXT)
def test_text_can_be_read_on_its_paper(theme: str, ink: str, paper: str) -> None:
    colours = _palette(theme)
    assert contrast(colours[ink], colours[paper]) >= 4.5  # WCAG 2.2, 1.4.3 level AA


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize(("shape", "paper"), SHAPES)
def test_edges_curves_and_focus_stand_out(theme: str, shape: str, paper: str) -> None:
    colours = _palette(theme)
    assert contrast(colours[shape], colours[paper]) >= 3


# Machado, Oliveira, Fernandes: A Physiologically-based Model for Simulation of Color Vision Deficiency, 2009,
# severity 1.0, for linear RGB; coefficients from memory, rows checked below to keep white white.
DEFICIENCIES = {
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
}


def _seen(colour: Rgb, deficiency: str) -> Rgb:
    linear = [_linear(c) for c in colour]
    red, green, blue = (
        min(1.0, max(0.0, sum(a * c for a, c in zip(row, linear, strict=True)))) for row in DEFICIENCIES[deficiency]
    )
    return red, green, blue


def _lab(linear: Rgb) -> Rgb:
    # CIE 1976 L*a*b*, white D65 (CIE 15; sRGB primaries of IEC 61966-2-1).
    red, green, blue = linear
    x = (0.4124 * red + 0.3576 * green + 0.1805 * blue) / 0.95047
    y = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    z = (0.0193 * red + 0.1192 * green + 0.9505 * blue) / 1.08883

    def f(t: float) -> float:
        return float(t ** (1 / 3)) if t > (6 / 29) ** 3 else t / (3 * (6 / 29) ** 2) + 4 / 29

    return 116 * f(y) - 16, 500 * (f(x) - f(y)), 200 * (f(y) - f(z))


def _apart(one: Rgb, other: Rgb, deficiency: str) -> float:
    a, b = _lab(_seen(one, deficiency)), _lab(_seen(other, deficiency))
    return math.dist(a, b)


@pytest.mark.parametrize("deficiency", DEFICIENCIES)
def test_the_simulation_leaves_white_white(deficiency: str) -> None:
    assert _seen((1.0, 1.0, 1.0), deficiency) == pytest.approx((1.0, 1.0, 1.0), abs=1e-4)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("deficiency", DEFICIENCIES)
def test_more_and_less_stay_apart_without_red_green_sight(theme: str, deficiency: str) -> None:
    colours = _palette(theme)
    for step in (1, 2, 3, 4):
        # A colour difference of 10 is clearly seen; common practice, no source.
        assert _apart(colours[f"diff-less-{step}"], colours[f"diff-more-{step}"], deficiency) >= 10


@pytest.mark.parametrize("theme", THEMES)
def test_the_difference_scale_grows_evenly_away_from_the_same(theme: str) -> None:
    colours = _palette(theme)
    for way in ("less", "more"):
        steps = [_luminance(colours["diff-same"])]
        steps += [_luminance(colours[f"diff-{way}-{n}"]) for n in (1, 2, 3, 4)]
        assert steps == sorted(steps, reverse=theme == "light")


def _hue_and_chroma(colour: Rgb) -> tuple[float, float]:
    high, low = max(colour), min(colour)
    chroma = high - low
    if not chroma:
        return 0.0, 0.0
    red, green, blue = colour
    if high == red:
        return 60 * (((green - blue) / chroma) % 6), chroma
    if high == green:
        return 60 * ((blue - red) / chroma + 2), chroma
    return 60 * ((red - green) / chroma + 4), chroma


@pytest.mark.parametrize("theme", THEMES)
def test_red_means_danger_and_nothing_else(theme: str) -> None:
    for name, colour in _palette(theme).items():
        hue, chroma = _hue_and_chroma(colour)
        if chroma > 0.25 and (hue < 16 or hue > 340):
            assert "danger" in name or name == "chart-limit", name


def test_the_first_three_curves_differ_by_colour_alone() -> None:
    for theme, deficiency in itertools.product(THEMES, DEFICIENCIES):
        colours = _palette(theme)
        for one, other in itertools.combinations(range(1, 4), 2):
            # Further curves also differ by their dashes. 10: as above.
            assert _apart(colours[f"chart-{one}"], colours[f"chart-{other}"], deficiency) >= 10
