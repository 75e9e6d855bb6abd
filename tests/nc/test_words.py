"""Blocks taken apart. The facts are those of NISTIR 6556, 3.3 (format of a line)."""

from __future__ import annotations

import pytest

from floorfit.nc.words import BadBlock, read_block


def values(text: str) -> dict[str, float]:
    return {word.letter: word.value for word in read_block(text).words}


def test_the_example_of_the_standard():
    """NISTIR 6556, 3.3: "g0x +0. 12 34y 7" is equivalent to "g0 x+0.1234 y7"."""
    assert values("g0x +0. 12 34y 7") == {"G": 0.0, "X": 0.1234, "Y": 7.0}


@pytest.mark.parametrize(
    ("text", "number"), [("Z-.5", -0.5), ("Z5.", 5.0), ("Z+3", 3.0), ("Z0005", 5.0), ("z 1 . 5", 1.5), ("Z- 2", -2.0)]
)
def test_numbers(text, number):
    assert values(text) == {"Z": number}


def test_comments_of_both_kinds_hold_no_words():
    assert values("X1 (Z2 Y3) Y4 ; Z5 (Z6") == {"X": 1.0, "Y": 4.0}


def test_block_delete_with_and_without_a_level():
    assert read_block("/X1").deleted
    assert read_block(" /2 G1 X1").deleted
    assert values("/2 G1 X1") == {"G": 1.0, "X": 1.0}


@pytest.mark.parametrize(
    "text", ["O100 while [#1 LT 2]", "o<a> call [1]", "O1 endsub", "IF [#1 EQ 2] GOTO 5", "N5 END1"]
)
def test_flow(text):
    assert read_block(text).flow


def test_programme_numbers_are_labels():
    assert read_block("O1234 (NAME)").label == "O1234"
    assert read_block(":10\n").label == "O10"


@pytest.mark.parametrize("text", ["Z#5", "Z#<depth>", "Z-[#1]", "Z[ATAN[1]/[2]]", "Zsin[30]", "Z##2"])
def test_parameters_and_expressions_have_no_value_here(text):
    assert values(text)["Z"] != values(text)["Z"]


@pytest.mark.parametrize(("text", "value"), [("Z[1+[2*3]]", 7.0), ("Z[3.-1.]", 2.0), ("Z-[1/4]", -0.25)])
def test_an_expression_of_numbers_has_its_value(text, value):
    """NISTIR 6556, 3.3.2.3: times before plus, brackets first."""
    assert values(text)["Z"] == value


def test_setting_a_parameter_is_no_word():
    block = read_block("#5=2.5 #<a>=[#5+1]")
    assert block.sets
    assert block.words == ()


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("X1 X2", "twice"),
        ("X", "no number"),
        ("X1.2.3", "cannot be read"),
        ("(open", "not closed"),
        ("X==1", "no number"),
        ("X1 $", "cannot be read"),
        ("X[1", "not closed"),
        ("#5", "not set"),
        ("#5=", "no value"),
        ("O<name>", "no known keyword"),
        ("// X1", "cannot be read"),
    ],
)
def test_what_is_left_over_is_refused(text, reason):
    with pytest.raises(BadBlock, match=reason):
        read_block(text)


def test_words_say_where_they_stand():
    text = "n10 g1  z -1.5 (c)"
    word = read_block(text).words[-1]
    assert text[word.number : word.end] == "-1.5"
