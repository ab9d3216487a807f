"""Widths of texts against Pillow, which reads the same font files with FreeType."""

from importlib.resources import files

import pytest
from PIL import ImageFont

from asbuilt.output.drawing.text_width import ASCENT, DESCENT, fit_text, text_width

FONTS = files("asbuilt") / "output" / "assets" / "fonts"
FACES = [("DejaVuSans.ttf", False), ("DejaVuSans-Bold.ttf", True)]
WITHOUT_PAIRS = ("septic tank 9' 6\"", "25: 67' 1 1/2\"", "é ñ ß Ж ½ Ø ′ ″", "lid 12", "e\u0301")
"""Texts in which the face draws no two letters closer together."""


def freetype(name: str) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(FONTS / name), 1000)


@pytest.mark.parametrize(("face", "bold"), FACES)
@pytest.mark.parametrize("words", WITHOUT_PAIRS)
def test_a_text_is_as_wide_as_freetype_sets_it(face: str, bold: bool, words: str) -> None:
    assert text_width(words, 1000, bold=bold) == pytest.approx(freetype(face).getlength(words), abs=1.0)


@pytest.mark.parametrize(("face", "bold"), FACES)
@pytest.mark.parametrize("words", ["AVATAR To. WAY", "Fernbank Lane 14", "مرحبا", "漢字", "\U0001f4a7", "\ue000"])
def test_a_text_is_never_told_narrower_than_it_is_set(face: str, bold: bool, words: str) -> None:
    assert text_width(words, 1000, bold=bold) >= freetype(face).getlength(words)


@pytest.mark.parametrize(("face", "bold"), FACES)
def test_letters_with_accents_stay_within_the_height_that_is_counted(face: str, bold: bool) -> None:
    ascent, descent = freetype(face).getmetrics()
    assert ascent <= 1000 * ASCENT
    assert descent <= 1000 * DESCENT
    assert text_width("", 10, bold=bold) == 0


def test_what_is_too_wide_is_cut_and_an_ellipsis_says_so() -> None:
    cut = fit_text("a very long name of a component", 2.3, 20.0)
    assert cut.endswith("…")
    assert cut[:-1] and "a very long name of a component".startswith(cut[:-1])
    assert text_width(cut, 2.3) <= 20.0
    assert fit_text("short", 2.3, 20.0) == "short"
    assert fit_text("anything", 2.3, 0.1) == "…"
