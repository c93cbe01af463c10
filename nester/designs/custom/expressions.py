"""Arithmetic on lengths and numbers, as a maker writes it into a custom design.

``2 × (width + flap) − 1 1/2in``: plus, minus, times and divided by, in ASCII or typographic
signs; parentheses; ``min(a, b)`` and ``max(a, b)``; ``round_to(x, 5mm)``, ``round_up_to`` and
``round_down_to``.  A number with a unit is a length.  Everything is exact, and lengths and numbers
are kept apart.

A parser of our own, not Python's: a length such as ``1 1/2in`` or ``½ × width`` is no Python,
and unchecked text never reaches a compiler.  Length, depth and size of an expression are
bounded, so that none takes long.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from math import ceil, floor
from typing import NoReturn, TypeAlias

from nester.core.errors import Refusal
from nester.core.lengths import Unit, printable
from nester.designs.base.design import suggestion

__all__ = [
    "RESERVED_NAMES",
    "Comparison",
    "Dimension",
    "Expression",
    "ExpressionError",
    "parse_comparison",
    "parse_expression",
    "quoted",
]

_MAX_TEXT_LENGTH = 400
_MAX_DEPTH = 20
_MAX_DIGITS = 12
_MAX_BITS = 160
"""Ten metres in fine units take 28 bits; far more is no size of a box."""


class ExpressionError(Refusal):
    """Arithmetic that can't be read or calculated."""


class Dimension(StrEnum):
    """What an expression comes to."""

    NUMBER = "number"
    LENGTH = "length"


_UNITS = {
    "mm": Unit.MM, "cm": Unit.CM, "in": Unit.IN, "inch": Unit.IN, "inches": Unit.IN,
    '"': Unit.IN, "″": Unit.IN, "”": Unit.IN,
}  # fmt: skip
_VULGAR_FRACTIONS = {
    "½": Fraction(1, 2), "¼": Fraction(1, 4), "¾": Fraction(3, 4), "⅓": Fraction(1, 3),
    "⅔": Fraction(2, 3), "⅛": Fraction(1, 8), "⅜": Fraction(3, 8), "⅝": Fraction(5, 8),
    "⅞": Fraction(7, 8),
}  # fmt: skip
_OPERATORS = {
    "+": "+", "-": "-", "−": "-", "–": "-", "*": "×", "×": "×", "·": "×", "/": "÷", "÷": "÷",
}  # fmt: skip
_COMPARISONS = {"<": "<", "<=": "≤", "≤": "≤", ">": ">", ">=": "≥", "≥": "≥", "=": "="}

_UNIT = r"(?P<unit>(?:mm|cm|inches|inch|in)(?!\w)|[\"″”])"
_LITERAL = re.compile(
    rf"""(?: (?P<whole>[0-9]+)\s+(?P<num>[0-9]+)\s*/\s*(?P<den>[0-9]+)             # 1 1/2
           | (?P<num2>[0-9]+)\s*/\s*(?P<den2>[0-9]+)(?=\s*{_UNIT.replace("?P<unit>", "?:")})
           | (?P<before>[0-9]+)?\s*(?P<part>[{"".join(_VULGAR_FRACTIONS)}])                   # 1½
           | (?P<decimal>[0-9]+(?:\.[0-9]+)?|\.[0-9]+)                             # 18.5
         )(?:\s*{_UNIT})?""",
    re.VERBOSE,
)
_IDENTIFIER = re.compile(r"[^\W\d]\w*")
_SPACE = re.compile(r"\s*")
_COMPARISON = re.compile(r"<=|>=|[<>=≤≥]")


def _round_half(value: Fraction) -> int:
    return floor(value + Fraction(1, 2))


_ROUNDINGS: dict[str, Callable[[Fraction], int]] = {
    "round_to": _round_half,
    "round_up_to": ceil,
    "round_down_to": floor,
}
_CHOICES: dict[str, Callable[[Sequence[Fraction]], Fraction]] = {"min": min, "max": max}
_FUNCTIONS = (*_CHOICES, *_ROUNDINGS)
RESERVED_NAMES = frozenset({*_FUNCTIONS, *(unit for unit in _UNITS if unit.isalpha()), "x"})
"""Words with a fixed meaning in an expression; no size can have such a name."""


def quoted(text: str, at_most: int = 40) -> str:
    """Return what somebody wrote in quotes, shortened and printable."""
    shown = printable(text)
    return f"'{shown}'" if len(shown) <= at_most else f"'{shown[:at_most]}…'"


@dataclass(frozen=True)
class _Literal:
    text: str
    value: Fraction
    dimension: Dimension


@dataclass(frozen=True)
class _Name:
    text: str


@dataclass(frozen=True)
class _OperatorChain:
    """Terms with their signs, or factors with theirs; the first has + or ×."""

    text: str
    operands: tuple[tuple[str, _Node], ...]


@dataclass(frozen=True)
class _Call:
    text: str
    function: str
    arguments: tuple[_Node, ...]


_Node: TypeAlias = _Literal | _Name | _OperatorChain | _Call


@dataclass(frozen=True)
class Expression:
    """Arithmetic that has been read, but not calculated.

    Attributes
    ----------
    text
        As it was written.
    names
        The names in it.
    """

    text: str
    names: frozenset[str]
    _root: _Node

    def dimension(self, dimensions: Mapping[str, Dimension]) -> Dimension:
        """Return whether it comes to a length or a number.

        Parameters
        ----------
        dimensions
            The dimension of each name it may use.

        Raises
        ------
        ExpressionError
            For an unknown name, or lengths and numbers mixed up.
        """
        return _dimension(self._root, dimensions)

    def evaluate(self, values: Mapping[str, Fraction]) -> Fraction:
        """Calculate it exactly; its `dimension` has been asked for before.

        Parameters
        ----------
        values
            The value of each name in it: a number, or a length in fine units.

        Raises
        ------
        ExpressionError
            If it divides by zero or grows too large.
        """
        return _evaluate(self._root, values)


@dataclass(frozen=True)
class Comparison:
    """Two expressions and what must hold between them: ``flap <= width / 2``."""

    text: str
    left: Expression
    operator: str
    right: Expression

    @property
    def names(self) -> frozenset[str]:
        """The names in it."""
        return self.left.names | self.right.names

    def check(self, dimensions: Mapping[str, Dimension]) -> None:
        """Refuse unknown names, and lengths compared with numbers (see `Expression.dimension`)."""
        left, right = self.left.dimension(dimensions), self.right.dimension(dimensions)
        if left is not right:
            raise ExpressionError(
                f"{quoted(self.left.text)} is a {left} and {quoted(self.right.text)} a {right},"
                " so they can't be compared"
            )

    def is_satisfied(self, values: Mapping[str, Fraction]) -> bool:
        """Return whether it is so (see `Expression.evaluate`)."""
        left, right = self.left.evaluate(values), self.right.evaluate(values)
        return {
            "<": left < right,
            "≤": left <= right,
            ">": left > right,
            "≥": left >= right,
            "=": left == right,
        }[self.operator]


def parse_expression(text: str) -> Expression:
    """Read arithmetic.

    Raises
    ------
    ExpressionError
        One sentence: what is wrong and what would be right.
    """
    reader = _Parser(text)
    expression = reader.parse_all()
    reader.expect_end()
    return expression


def parse_comparison(text: str) -> Comparison:
    """Read two expressions with <, <=, >, >= or = between them (see `parse_expression`)."""
    reader = _Parser(text)
    left = reader.parse_all()
    match = reader.match(_COMPARISON)
    if match is None:
        raise ExpressionError(f"{quoted(text)} compares nothing; write it like flap <= width / 2")
    right = reader.parse_all()
    reader.expect_end()
    return Comparison(text, left, _COMPARISONS[match.group()], right)


class _Parser:
    """Reads by recursive descent, with a method for each level of precedence."""

    def __init__(self, text: str) -> None:
        if len(text) > _MAX_TEXT_LENGTH:
            raise ExpressionError(
                f"{quoted(text, 20)} is {len(text):,} characters long, and {_MAX_TEXT_LENGTH} are"
                " enough; give its parts names of their own"
            )
        self.text = text
        self.position = 0
        self.depth = 0
        self.names: set[str] = set()

    def parse_all(self) -> Expression:
        self.skip()
        start, self.names = self.position, set()
        root = self.sum()
        return Expression(self.text[start : self.position].strip(), frozenset(self.names), root)

    def expect_end(self) -> None:
        self.skip()
        if self.position < len(self.text):
            self.refuse_rest()

    def skip(self) -> None:
        match = _SPACE.match(self.text, self.position)
        self.position = match.end() if match else self.position

    def match(self, pattern: re.Pattern[str]) -> re.Match[str] | None:
        self.skip()
        match = pattern.match(self.text, self.position)
        if match:
            self.position = match.end()
        return match

    def operator(self, *wanted: str) -> str | None:
        """Take an operator, if it comes next."""
        self.skip()
        found = _OPERATORS.get(self.text[self.position : self.position + 1])
        if found not in wanted:
            return None
        self.position += 1
        if found == "×" and self.text[self.position : self.position + 1] == "*":
            self.refuse_power()
        return found

    def sum(self) -> _Node:
        return self.chain(self.product, "+", "-")

    def product(self) -> _Node:
        return self.chain(self.signed_operand, "×", "÷")

    def chain(self, operand: Callable[[], _Node], first: str, second: str) -> _Node:
        """Read operands with either operator between them."""
        self.skip()
        start = self.position
        operands = [(first, operand())]
        while sign := self.operator(first, second):
            operands.append((sign, operand()))
        if len(operands) == 1:
            return operands[0][1]
        return _OperatorChain(self.text[start : self.position].strip(), tuple(operands))

    def signed_operand(self) -> _Node:
        self.skip()
        start = self.position
        if not self.operator("-"):
            return self.atom()
        with_minus = (("×", _Literal("-1", Fraction(-1), Dimension.NUMBER)), ("×", self.atom()))
        return _OperatorChain(self.text[start : self.position].strip(), with_minus)

    def atom(self) -> _Node:
        amount = self.match(_LITERAL)
        if amount:
            return self.literal(amount)
        word = self.match(_IDENTIFIER)
        if word:
            return self.identifier(word.group())
        if self.open_bracket():
            inner = self.nested(self.sum)
            self.close_bracket()
            return inner
        return self.refuse_rest()

    def literal(self, match: re.Match[str]) -> _Node:
        text = match.group()
        if sum(c.isdigit() for c in text) > _MAX_DIGITS:
            raise ExpressionError(f"{quoted(text, 15)} has more digits than any size needs")
        if match["num2"] and self.text[: match.start()].rstrip()[-1:] in ("/", "÷"):
            shown = printable(text)
            raise ExpressionError(f"'/ {shown}' can be read two ways; put ({shown}) in parentheses")
        value = _number(match)
        if match["unit"] is None:
            return _Literal(text, value, Dimension.NUMBER)
        return _Literal(text, value * _UNITS[match["unit"]].fine_units, Dimension.LENGTH)

    def identifier(self, word: str) -> _Node:
        if word in _FUNCTIONS:
            return self.call(word)
        if word in RESERVED_NAMES:
            raise ExpressionError(
                f"'{word}' stands alone in {quoted(self.text)};"
                " a unit follows its number, and times is written × or *"
            )
        if self.open_bracket():
            known = suggestion(word, _FUNCTIONS) or f"; there are {', '.join(_FUNCTIONS)}"
            raise ExpressionError(f"{quoted(word)} can't be worked out by itself{known}")
        self.names.add(word)
        return _Name(word)

    def call(self, function: str) -> _Node:
        start = self.position - len(function)
        if not self.open_bracket():
            raise ExpressionError(f"'{function}' needs parentheses: {_usage(function)}")
        arguments = [self.nested(self.sum)]
        while self.match(re.compile(",")):
            arguments.append(self.nested(self.sum))
        self.close_bracket()
        count = "1 value" if len(arguments) == 1 else f"{len(arguments)} values"
        if len(arguments) < 2 or (function in _ROUNDINGS and len(arguments) > 2):
            raise ExpressionError(f"'{function}' is given {count}; write {_usage(function)}")
        return _Call(self.text[start : self.position], function, tuple(arguments))

    def nested(self, read: Callable[[], _Node]) -> _Node:
        if self.depth == _MAX_DEPTH:
            raise ExpressionError(
                f"{quoted(self.text, 20)} has more than {_MAX_DEPTH} parentheses within one"
                " another; give its parts names of their own"
            )
        self.depth += 1
        node = read()
        self.depth -= 1
        return node

    def open_bracket(self) -> bool:
        return self.match(re.compile(r"\(")) is not None

    def close_bracket(self) -> None:
        if self.match(re.compile(r"\)")):
            return
        self.skip()
        if self.position < len(self.text):
            self.refuse_rest()
        raise ExpressionError(f"a closing parenthesis is missing at the end of {quoted(self.text)}")

    def refuse_power(self) -> NoReturn:
        raise ExpressionError(f"{quoted(self.text)} has a power in it; only + − × ÷ are known")

    def refuse_rest(self) -> NoReturn:
        self.skip()
        rest = self.text[self.position :]
        if not self.text.strip():
            raise ExpressionError("it is empty; write a size such as 2cm or width + 5mm")
        if not rest:
            raise ExpressionError(f"{quoted(self.text)} ends too early")
        if rest[0] == "^":
            self.refuse_power()
        if rest[0] == ",":
            raise ExpressionError(
                f"the comma in {quoted(self.text)} is out of place; write decimals with a point"
            )
        hint = "; write × or * for times" if rest[0].isalnum() or rest[0] == "(" else ""
        raise ExpressionError(
            f"{quoted(rest, 15)} can't be understood in {quoted(self.text)}{hint}"
        )


def _usage(function: str) -> str:
    return f"{function}({'width, 5mm' if function in _ROUNDINGS else 'width, depth'})"


def _number(match: re.Match[str]) -> Fraction:
    if match["decimal"]:
        return Fraction(match["decimal"])
    if match["part"]:
        return int(match["before"] or 0) + _VULGAR_FRACTIONS[match["part"]]
    below = int(match["den"] or match["den2"])
    if below == 0:
        raise ExpressionError(f"{quoted(match.group())} divides by zero")
    return int(match["whole"] or 0) + Fraction(int(match["num"] or match["num2"]), below)


# --- lengths and numbers -----------------------------------------------------------------------


def _dimension(node: _Node, dimensions: Mapping[str, Dimension]) -> Dimension:
    if isinstance(node, _Literal):
        return node.dimension
    if isinstance(node, _Name):
        return _dimension_of_name(node.text, dimensions)
    if isinstance(node, _Call):
        return _common_dimension(node.arguments, dimensions)
    if node.operands[0][0] == "+":
        return _common_dimension([term for _, term in node.operands], dimensions)
    return _dimension_of_product(node, dimensions)


def _dimension_of_name(name: str, dimensions: Mapping[str, Dimension]) -> Dimension:
    if name not in dimensions:
        hint = suggestion(name, dimensions) or (
            f"; there are {_listed(dimensions)}" if dimensions else ""
        )
        raise ExpressionError(f"nothing is called {quoted(name)} here{hint}")
    return dimensions[name]


def _listed(names: Mapping[str, Dimension]) -> str:
    shown = list(names)[:8]
    return ", ".join(shown) + (" …" if len(names) > len(shown) else "")


def _common_dimension(nodes: Sequence[_Node], dimensions: Mapping[str, Dimension]) -> Dimension:
    first, *others = nodes
    dimension = _dimension(first, dimensions)
    for other in others:
        if _dimension(other, dimensions) is not dimension:
            length, bare = (first, other) if dimension is Dimension.LENGTH else (other, first)
            raise ExpressionError(
                f"{quoted(length.text)} is a length and {quoted(bare.text)} a number without a"
                " unit, so they can't be added or compared"
            )
    return dimension


def _dimension_of_product(node: _OperatorChain, dimensions: Mapping[str, Dimension]) -> Dimension:
    (_, first), *others = node.operands
    dimension = _dimension(first, dimensions)
    for sign, other in others:
        if _dimension(other, dimensions) is Dimension.NUMBER:
            continue
        if sign == "÷" and dimension is Dimension.NUMBER:
            raise ExpressionError(
                f"in {quoted(node.text)} a number is divided by {quoted(other.text)}, a length"
            )
        if sign == "×" and dimension is Dimension.LENGTH:
            raise ExpressionError(
                f"in {quoted(node.text)} a length is multiplied by {quoted(other.text)}, a length;"
                " that is an area"
            )
        dimension = Dimension.LENGTH if sign == "×" else Dimension.NUMBER
    return dimension


# --- calculation -------------------------------------------------------------------------------


def _evaluate(node: _Node, values: Mapping[str, Fraction]) -> Fraction:
    if isinstance(node, _Literal):
        return node.value
    if isinstance(node, _Name):
        return values[node.text]
    if isinstance(node, _Call):
        return _evaluate_call(node, [_evaluate(each, values) for each in node.arguments])
    total = Fraction(0) if node.operands[0][0] == "+" else Fraction(1)
    for sign, operand in node.operands:
        total = _apply_operator(total, sign, _evaluate(operand, values), node)
    return total


def _apply_operator(total: Fraction, sign: str, value: Fraction, node: _OperatorChain) -> Fraction:
    if sign == "÷" and value == 0:
        raise ExpressionError(f"{quoted(node.text)} divides by zero")
    if sign == "+":
        result = total + value
    elif sign == "-":
        result = total - value
    elif sign == "×":
        result = total * value
    else:
        result = total / value
    if max(result.numerator.bit_length(), result.denominator.bit_length()) > _MAX_BITS:
        raise ExpressionError(f"{quoted(node.text)} comes to more digits than any size needs")
    return result


def _evaluate_call(node: _Call, values: Sequence[Fraction]) -> Fraction:
    if node.function in _CHOICES:
        return _CHOICES[node.function](values)
    value, step = values
    if step <= 0:
        raise ExpressionError(f"the step in {quoted(node.text)} must be more than zero")
    return _ROUNDINGS[node.function](value / step) * step
