"""A design of a maker's own, mutilated: always a design, or one clear sentence with its place."""

from __future__ import annotations

import random
import re
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nester.core.lengths import Unit
from nester.designs import read_settings
from nester.designs.custom.expressions import Dimension, ExpressionError, parse_expression
from nester.designs.custom.reader import (
    CustomDesignRefusal,
    check_custom_design,
    decode_custom_design,
    read_custom_design,
    starter_text,
)

EXAMPLE = Path(__file__).parents[2] / "demo_data" / "own_design.toml"
SMALL = 'name="a"\ntitle="t"\n[[pieces]]\nname="p"\nrole="p"\nwidth="10cm"\nheight="10cm"\n'
FILES = [starter_text(), EXAMPLE.read_text(encoding="utf-8"), SMALL]
MUTATIONS = 300
TOKEN = re.compile(r"\w+|\s+|.")
JUNK = [
    "9**9**9", "((((((", '"', "[", "]]", "{", "width", "1/0", "×", "÷", "-", "9" * 30, "\n", "#",
    "= ", "1 1/2in", "nan", "inf", "true", "[[pieces]]", "\x00", "½", "é", "1979-05-27",
    "0x" + "f" * 300, "a.b.c", '"""', "'''", "x", "max(", "round_to(width, 0)", "1e999",
    "tall / 0mm", "cards", "wide", "\u202e", "99999999999999999",
]  # fmt: skip
SENTENCE = re.compile(r"f\.toml, line [0-9]+(, [^:\n]+)?: [^\n]+")


def byte_changed(chance: random.Random, text: str) -> bytes:
    data = bytearray(text.encode())
    data[chance.randrange(len(data))] = chance.randrange(256)
    return bytes(data)


def lines_changed(chance: random.Random, text: str) -> str:
    lines = text.split("\n")
    here, there = chance.randrange(len(lines)), chance.randrange(len(lines))
    lines[here], lines[there] = lines[there], lines[here]
    if chance.random() < 0.5:
        del lines[here]
    return "\n".join(lines)


def token_changed(chance: random.Random, text: str) -> str:
    tokens = TOKEN.findall(text)
    here = chance.randrange(len(tokens))
    tokens[here] = chance.choice(["", tokens[here] + chance.choice(JUNK), *JUNK, tokens[-here]])
    return "".join(tokens)


def mutated(seed: int) -> bytes:
    chance = random.Random(seed)
    text = chance.choice(FILES)
    for _ in range(chance.choice([1, 1, 1, 2, 3, 6])):
        text = chance.choice([lines_changed, token_changed, token_changed])(chance, text)
    return byte_changed(chance, text) if chance.random() < 0.3 else text.encode()


def test_mutilated_files_are_refused_clearly_or_can_be_made() -> None:
    refused = 0
    for seed in range(MUTATIONS):
        try:
            text = decode_custom_design(mutated(seed), "f.toml")
            design = read_custom_design(text, "f.toml")
        except CustomDesignRefusal as refusal:
            said = str(refusal)
            assert SENTENCE.fullmatch(said), (seed, said)
            assert said.isprintable(), (seed, said)
            assert len(said) < 500, (seed, said)
            refused += 1
        else:
            assert design.pieces(read_settings(design, {}, Unit.CM), Unit.CM)
            assert check_custom_design(text, "f.toml") == []
    assert MUTATIONS / 2 < refused < MUTATIONS


CHAIN = "\n".join(f'a{i} = "a{i - 1} / 1cm × a{i - 1}"' for i in range(1, 90))
CIRCLES = "\n".join(f'a{i} = "b{i}"\nb{i} = "a{i}"' for i in range(50))


@pytest.mark.parametrize(
    "text",
    [
        f'{SMALL}[worked_out]\na = "9**9**9"',
        f'{SMALL}[worked_out]\na = "{"(" * 450}"',
        f'{SMALL}[worked_out]\na = "{"(" * 10**6}"',
        f'{SMALL}[worked_out]\na = "{"1+" * 50_000}1"',
        f'{SMALL}[worked_out]\na0 = "3cm"\n{CHAIN}',
        f"{SMALL}[worked_out]\n{CIRCLES}",
        f"x = {'9' * 5000}",
        f"x = 0x{'f' * 490}",
        f"x = {'[' * 450}",
        "x = " + "[\n" * 40_000,
        "x = " + "[\n" * 300 + "]" * 300,
        ".".join("a" * 240) + " = 1",
        "'" * 99_999,
        'x = """' + '"\n' * 40_000,
        "# \ud800",
        "x = 2026-13-45",
        "#" * 10**7,
    ],
)
def test_what_is_meant_to_choke_the_reader_is_refused(text: str) -> None:
    findings = check_custom_design(text, "f.toml")
    assert findings
    assert all(SENTENCE.fullmatch(str(one)) and len(str(one)) < 500 for one in findings)


NUMBERS = st.fractions(min_value=0, max_value=1000, max_denominator=64).map(
    lambda value: (f"({value})", value)
)


def combined(inner: st.SearchStrategy) -> st.SearchStrategy:
    def join(signs: tuple[str, str], left: tuple, right: tuple) -> tuple:
        written, sign = signs
        value = {
            "+": lambda: left[1] + right[1],
            "-": lambda: left[1] - right[1],
            "×": lambda: left[1] * right[1],
            "÷": lambda: left[1] / right[1] if right[1] else Fraction(0),
        }[sign]()
        if sign == "÷" and right[1] == 0:
            return left
        return f"({left[0]} {written} {right[0]})", value

    signs = st.sampled_from([("+", "+"), ("-", "-"), ("−", "-"), ("*", "×"), ("×", "×"),
                             ("/", "÷"), ("÷", "÷")])  # fmt: skip
    return st.builds(join, signs, inner, inner)


@given(st.recursive(NUMBERS, combined, max_leaves=8))
def test_arithmetic_is_that_of_fractions(case: tuple[str, Fraction]) -> None:
    text, value = case
    expression = parse_expression(text)
    assert expression.dimension({}) is Dimension.NUMBER
    assert expression.evaluate({}) == value


@given(st.text(alphabet="()+-×÷*/.,0123456789 abcmin½\"'[]<=", max_size=40))
def test_any_text_is_worked_out_or_refused(text: str) -> None:
    sorts = {"a": Dimension.LENGTH, "b": Dimension.NUMBER}
    said = ""
    try:
        expression = parse_expression(text)
        expression.dimension(sorts)
        assert isinstance(expression.evaluate({"a": Fraction(5), "b": Fraction(2)}), Fraction)
    except ExpressionError as refusal:
        said = str(refusal)
    assert said.isprintable()
