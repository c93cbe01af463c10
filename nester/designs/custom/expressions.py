"""Arithmetic on lengths and numbers, as a maker writes it into a design of her own.

``2 × (width + flap) − 1 1/2in``: plus, minus, times and divided by, in ASCII or typographic
signs; parentheses; ``min(a, b)`` and ``max(a, b)``; ``round_to(x, 5mm)``, ``round_up_to`` and
``round_down_to``.  A number with a unit is a length.  Everything is exact, and lengths and numbers
are kept apart.

The reader is our own rather than Python's: a length such as ``1 1/2in`` or ``½ × width`` is no
Python, and text that nobody has checked never comes near a compiler.  How long, how deep and how
large an expression may be is bounded, so that none takes long.
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
from nester.core.lengths import Unit, quotable
from nester.designs.base.design import near_miss

__all__ = [
    "RESERVED",
    "Comparison",
    "Expression",
    "ExpressionError",
    "Sort",
    "parse_comparison",
    "parse_expression",
    "quoted",
]

_LONGEST = 400
_DEEPEST = 20
_MOST_DIGITS = 12
_MOST_BITS = 160
"""Ten metres in fine units take 28 bits; what needs far more was no size of a box."""


class ExpressionError(Refusal):
    """Arithmetic that can't be read or worked out."""


class Sort(StrEnum):
    """What an expression comes to."""

    NUMBER = "number"
    LENGTH = "length"


_UNITS = {
    "mm": Unit.MM, "cm": Unit.CM, "in": Unit.IN, "inch": Unit.IN, "inches": Unit.IN,
    '"': Unit.IN, "″": Unit.IN, "”": Unit.IN,
}  # fmt: skip
_PARTS = {
    "½": Fraction(1, 2), "¼": Fraction(1, 4), "¾": Fraction(3, 4), "⅓": Fraction(1, 3),
    "⅔": Fraction(2, 3), "⅛": Fraction(1, 8), "⅜": Fraction(3, 8), "⅝": Fraction(5, 8),
    "⅞": Fraction(7, 8),
}  # fmt: skip
_SIGNS = {
    "+": "+", "-": "-", "−": "-", "–": "-", "*": "×", "×": "×", "·": "×", "/": "÷", "÷": "÷",
}  # fmt: skip
_COMPARISONS = {"<": "<", "<=": "≤", "≤": "≤", ">": ">", ">=": "≥", "≥": "≥", "=": "="}

_UNIT = r"(?P<unit>(?:mm|cm|inches|inch|in)(?!\w)|[\"″”])"
_AMOUNT = re.compile(
    rf"""(?: (?P<whole>[0-9]+)\s+(?P<num>[0-9]+)\s*/\s*(?P<den>[0-9]+)             # 1 1/2
           | (?P<num2>[0-9]+)\s*/\s*(?P<den2>[0-9]+)(?=\s*{_UNIT.replace("?P<unit>", "?:")})
           | (?P<before>[0-9]+)?\s*(?P<part>[{"".join(_PARTS)}])                   # 1½
           | (?P<decimal>[0-9]+(?:\.[0-9]+)?|\.[0-9]+)                             # 18.5
         )(?:\s*{_UNIT})?""",
    re.VERBOSE,
)
_WORD = re.compile(r"[^\W\d]\w*")
_SPACE = re.compile(r"\s*")
_COMPARISON = re.compile(r"<=|>=|[<>=≤≥]")


def _nearest(value: Fraction) -> int:
    return floor(value + Fraction(1, 2))


_ROUNDINGS: dict[str, Callable[[Fraction], int]] = {
    "round_to": _nearest,
    "round_up_to": ceil,
    "round_down_to": floor,
}
_CHOICES: dict[str, Callable[[Sequence[Fraction]], Fraction]] = {"min": min, "max": max}
_FUNCTIONS = (*_CHOICES, *_ROUNDINGS)
RESERVED = frozenset({*_FUNCTIONS, *(unit for unit in _UNITS if unit.isalpha()), "x"})
"""Words that mean something in an expression already, so that no size can be called so."""


def quoted(text: str, at_most: int = 40) -> str:
    """Return what somebody wrote, short and printable and between quotes."""
    shown = quotable(text)
    return f"'{shown}'" if len(shown) <= at_most else f"'{shown[:at_most]}…'"


@dataclass(frozen=True)
class _Amount:
    text: str
    value: Fraction
    sort: Sort


@dataclass(frozen=True)
class _Name:
    text: str


@dataclass(frozen=True)
class _Chain:
    """Terms with their signs, or factors with theirs; the first one has + or ×."""

    text: str
    links: tuple[tuple[str, _Node], ...]


@dataclass(frozen=True)
class _Call:
    text: str
    function: str
    arguments: tuple[_Node, ...]


_Node: TypeAlias = _Amount | _Name | _Chain | _Call


@dataclass(frozen=True)
class Expression:
    """Arithmetic that has been read, but not worked out.

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

    def sort(self, sorts: Mapping[str, Sort]) -> Sort:
        """Return whether it comes to a length or a number.

        Parameters
        ----------
        sorts
            What each name it may use stands for.

        Raises
        ------
        ExpressionError
            For an unknown name, or lengths and numbers mixed up.
        """
        return _sort(self._root, sorts)

    def value(self, values: Mapping[str, Fraction]) -> Fraction:
        """Work it out exactly; its `sort` has been asked for before.

        Parameters
        ----------
        values
            What each name in it is: a number, or fine units.

        Raises
        ------
        ExpressionError
            If it divides by zero or gets out of hand.
        """
        return _value(self._root, values)


@dataclass(frozen=True)
class Comparison:
    """Two expressions and what must hold between them: ``flap <= width / 2``."""

    text: str
    left: Expression
    sign: str
    right: Expression

    @property
    def names(self) -> frozenset[str]:
        """The names in it."""
        return self.left.names | self.right.names

    def check(self, sorts: Mapping[str, Sort]) -> None:
        """Refuse unknown names, and lengths compared with numbers (see `Expression.sort`)."""
        left, right = self.left.sort(sorts), self.right.sort(sorts)
        if left is not right:
            raise ExpressionError(
                f"{quoted(self.left.text)} is a {left} and {quoted(self.right.text)} a {right},"
                " so they can't be compared"
            )

    def holds(self, values: Mapping[str, Fraction]) -> bool:
        """Return whether it is so (see `Expression.value`)."""
        left, right = self.left.value(values), self.right.value(values)
        return {
            "<": left < right,
            "≤": left <= right,
            ">": left > right,
            "≥": left >= right,
            "=": left == right,
        }[self.sign]


def parse_expression(text: str) -> Expression:
    """Read arithmetic.

    Raises
    ------
    ExpressionError
        One sentence: what is wrong and what would be right.
    """
    reader = _Reader(text)
    expression = reader.whole()
    reader.finish()
    return expression


def parse_comparison(text: str) -> Comparison:
    """Read two expressions with <, <=, >, >= or = between them (see `parse_expression`)."""
    reader = _Reader(text)
    left = reader.whole()
    match = reader.take(_COMPARISON)
    if match is None:
        raise ExpressionError(f"{quoted(text)} compares nothing; write it like flap <= width / 2")
    right = reader.whole()
    reader.finish()
    return Comparison(text, left, _COMPARISONS[match.group()], right)


class _Reader:
    """Reads from left to right by recursive descent, one function a level of binding."""

    def __init__(self, text: str) -> None:
        if len(text) > _LONGEST:
            raise ExpressionError(
                f"{quoted(text, 20)} is {len(text):,} characters long, and {_LONGEST} are enough;"
                " give its parts names of their own"
            )
        self.text = text
        self.at = 0
        self.depth = 0
        self.names: set[str] = set()

    def whole(self) -> Expression:
        self.skip()
        start, self.names = self.at, set()
        root = self.sum()
        return Expression(self.text[start : self.at].strip(), frozenset(self.names), root)

    def finish(self) -> None:
        self.skip()
        if self.at < len(self.text):
            self.refuse_rest()

    def skip(self) -> None:
        match = _SPACE.match(self.text, self.at)
        self.at = match.end() if match else self.at

    def take(self, pattern: re.Pattern[str]) -> re.Match[str] | None:
        self.skip()
        match = pattern.match(self.text, self.at)
        if match:
            self.at = match.end()
        return match

    def sign(self, *wanted: str) -> str | None:
        """Take one of the signs, if it comes next."""
        self.skip()
        found = _SIGNS.get(self.text[self.at : self.at + 1])
        if found not in wanted:
            return None
        self.at += 1
        if found == "×" and self.text[self.at : self.at + 1] == "*":
            self.refuse_power()
        return found

    def sum(self) -> _Node:
        return self.chain(self.product, "+", "-")

    def product(self) -> _Node:
        return self.chain(self.signed, "×", "÷")

    def chain(self, link: Callable[[], _Node], first: str, second: str) -> _Node:
        self.skip()
        start = self.at
        links = [(first, link())]
        while sign := self.sign(first, second):
            links.append((sign, link()))
        if len(links) == 1:
            return links[0][1]
        return _Chain(self.text[start : self.at].strip(), tuple(links))

    def signed(self) -> _Node:
        self.skip()
        start = self.at
        if not self.sign("-"):
            return self.atom()
        with_minus = (("×", _Amount("-1", Fraction(-1), Sort.NUMBER)), ("×", self.atom()))
        return _Chain(self.text[start : self.at].strip(), with_minus)

    def atom(self) -> _Node:
        amount = self.take(_AMOUNT)
        if amount:
            return self.amount(amount)
        word = self.take(_WORD)
        if word:
            return self.word(word.group())
        if self.opens():
            inner = self.deeper(self.sum)
            self.close()
            return inner
        return self.refuse_rest()

    def amount(self, match: re.Match[str]) -> _Node:
        text = match.group()
        if sum(c.isdigit() for c in text) > _MOST_DIGITS:
            raise ExpressionError(f"{quoted(text, 15)} has more digits than any size needs")
        if match["num2"] and self.text[: match.start()].rstrip()[-1:] in ("/", "÷"):
            raise ExpressionError(
                f"'/ {quotable(text)}' can be read two ways; put ({quotable(text)}) in parentheses"
            )
        value = _number(match)
        if match["unit"] is None:
            return _Amount(text, value, Sort.NUMBER)
        return _Amount(text, value * _UNITS[match["unit"]].size, Sort.LENGTH)

    def word(self, word: str) -> _Node:
        if word in _FUNCTIONS:
            return self.call(word)
        if word in RESERVED:
            raise ExpressionError(
                f"'{word}' stands alone in {quoted(self.text)};"
                " a unit follows its number, and times is written × or *"
            )
        if self.opens():
            known = near_miss(word, _FUNCTIONS) or f"; there are {', '.join(_FUNCTIONS)}"
            raise ExpressionError(f"{quoted(word)} can't be worked out by itself{known}")
        self.names.add(word)
        return _Name(word)

    def call(self, function: str) -> _Node:
        start = self.at - len(function)
        if not self.opens():
            raise ExpressionError(f"'{function}' needs parentheses: {_usage(function)}")
        arguments = [self.deeper(self.sum)]
        while self.take(re.compile(",")):
            arguments.append(self.deeper(self.sum))
        self.close()
        if len(arguments) < 2 or (function in _ROUNDINGS and len(arguments) > 2):
            raise ExpressionError(
                f"'{function}' is given {len(arguments)} values; write {_usage(function)}"
            )
        return _Call(self.text[start : self.at], function, tuple(arguments))

    def deeper(self, read: Callable[[], _Node]) -> _Node:
        if self.depth == _DEEPEST:
            raise ExpressionError(
                f"{quoted(self.text, 20)} has more than {_DEEPEST} parentheses within one another;"
                " give its parts names of their own"
            )
        self.depth += 1
        node = read()
        self.depth -= 1
        return node

    def opens(self) -> bool:
        return self.take(re.compile(r"\(")) is not None

    def close(self) -> None:
        if self.take(re.compile(r"\)")):
            return
        self.skip()
        if self.at < len(self.text):
            self.refuse_rest()
        raise ExpressionError(f"a closing parenthesis is missing at the end of {quoted(self.text)}")

    def refuse_power(self) -> NoReturn:
        raise ExpressionError(f"{quoted(self.text)} has a power in it; only + − × ÷ are known")

    def refuse_rest(self) -> NoReturn:
        self.skip()
        rest = self.text[self.at :]
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
        return int(match["before"] or 0) + _PARTS[match["part"]]
    below = int(match["den"] or match["den2"])
    if below == 0:
        raise ExpressionError(f"{quoted(match.group())} divides by zero")
    return int(match["whole"] or 0) + Fraction(int(match["num"] or match["num2"]), below)


# --- lengths and numbers -----------------------------------------------------------------------


def _sort(node: _Node, sorts: Mapping[str, Sort]) -> Sort:
    if isinstance(node, _Amount):
        return node.sort
    if isinstance(node, _Name):
        return _sort_of_name(node.text, sorts)
    if isinstance(node, _Call):
        return _common_sort(node.arguments, sorts)
    if node.links[0][0] == "+":
        return _common_sort([term for _, term in node.links], sorts)
    return _sort_of_product(node, sorts)


def _sort_of_name(name: str, sorts: Mapping[str, Sort]) -> Sort:
    if name not in sorts:
        hint = near_miss(name, sorts) or (f"; there are {_some(sorts)}" if sorts else "")
        raise ExpressionError(f"nothing is called {quoted(name)} here{hint}")
    return sorts[name]


def _some(names: Mapping[str, Sort]) -> str:
    shown = list(names)[:8]
    return ", ".join(shown) + (" …" if len(names) > len(shown) else "")


def _common_sort(nodes: Sequence[_Node], sorts: Mapping[str, Sort]) -> Sort:
    first, *others = nodes
    sort = _sort(first, sorts)
    for other in others:
        if _sort(other, sorts) is not sort:
            length, bare = (first, other) if sort is Sort.LENGTH else (other, first)
            raise ExpressionError(
                f"{quoted(length.text)} is a length and {quoted(bare.text)} a number without a"
                " unit, so they can't be added or compared"
            )
    return sort


def _sort_of_product(node: _Chain, sorts: Mapping[str, Sort]) -> Sort:
    (_, first), *others = node.links
    sort = _sort(first, sorts)
    for sign, other in others:
        if _sort(other, sorts) is Sort.NUMBER:
            continue
        if sign == "÷" and sort is Sort.NUMBER:
            raise ExpressionError(
                f"in {quoted(node.text)} a number is divided by {quoted(other.text)}, a length"
            )
        if sign == "×" and sort is Sort.LENGTH:
            raise ExpressionError(
                f"in {quoted(node.text)} a length is multiplied by {quoted(other.text)}, a length;"
                " that is an area"
            )
        sort = Sort.LENGTH if sign == "×" else Sort.NUMBER
    return sort


# --- working it out ----------------------------------------------------------------------------


def _value(node: _Node, values: Mapping[str, Fraction]) -> Fraction:
    if isinstance(node, _Amount):
        return node.value
    if isinstance(node, _Name):
        return values[node.text]
    if isinstance(node, _Call):
        return _called(node, [_value(each, values) for each in node.arguments])
    total = Fraction(0) if node.links[0][0] == "+" else Fraction(1)
    for sign, link in node.links:
        total = _linked(total, sign, _value(link, values), node)
    return total


def _linked(total: Fraction, sign: str, value: Fraction, node: _Chain) -> Fraction:
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
    if max(result.numerator.bit_length(), result.denominator.bit_length()) > _MOST_BITS:
        raise ExpressionError(f"{quoted(node.text)} comes to more digits than any size needs")
    return result


def _called(node: _Call, values: Sequence[Fraction]) -> Fraction:
    if node.function in _CHOICES:
        return _CHOICES[node.function](values)
    value, step = values
    if step <= 0:
        raise ExpressionError(f"the step in {quoted(node.text)} must be more than zero")
    return _ROUNDINGS[node.function](value / step) * step
