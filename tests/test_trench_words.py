"""The words of the trench: lengths that can be typed and read back, sizes of slips, signs that a shell would obey."""

import shlex

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asbuilt.output.text.trench import miss_words, quoted, typed
from asbuilt.units import parse_length


@given(st.integers(1, 60_000), st.sampled_from(["ft-in", "ft", "m"]))
def test_a_length_that_is_proposed_reads_back_to_what_it_was(half_inches: int, units: str) -> None:
    feet, inches = divmod(half_inches / 2, 12)
    length = parse_length(f"{feet:.0f}' {inches}\"")
    again = parse_length(typed(length, units), units)
    assert again.metres == pytest.approx(length.metres, abs={"ft-in": 1e-9, "ft": 0.002, "m": 0.006}[units])


@given(st.text(st.characters(codec="utf-8", exclude_characters="\0"), min_size=1))
def test_a_quoted_word_is_one_word_to_a_shell(word: str) -> None:
    assert shlex.split(quoted(word)) == [word]


@pytest.mark.parametrize("word", ["$(rm -r .)", "`id`", 'lid"; id', "a\\", "it's", "Mill Lane 4", "!!"])
def test_nothing_in_a_name_is_obeyed_by_a_shell(word: str) -> None:
    import subprocess

    done = subprocess.run(["sh", "-c", f"printf %s {quoted(word)}"], capture_output=True, text=True, check=True)
    assert done.stdout == word


@pytest.mark.parametrize(
    ("metres", "units", "words"),
    [
        (0.3048, "ft-in", "1 ft 0 in"),
        (0.3048 * 1.25, "ft-in", "1 ft 3 in"),
        (0.0127, "ft-in", "1/2 in"),
        (0.0254 * 3.5, "ft-in", "3 1/2 in"),
        (0.0254 * 11.9, "ft-in", "1 ft 0 in"),
        (3.048, "ft-in", "10 ft 0 in"),
        (0.3048, "ft", "1.00 ft"),
        (0.5, "m", "0.50 m"),
        (0.0, "ft-in", "0 in"),
    ],
)
def test_the_size_of_a_slip_is_said_in_feet_and_inches(metres: float, units: str, words: str) -> None:
    assert miss_words(metres, units) == words
