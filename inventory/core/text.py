"""What a maker may write into the shop's book: names, notes, numbers and choices."""

from __future__ import annotations

import re
import unicodedata
from difflib import get_close_matches
from typing import TYPE_CHECKING, TypeVar

from nester.core.errors import Refusal

if TYPE_CHECKING:
    from collections.abc import Iterable
    from enum import StrEnum

__all__ = [
    "LARGEST_NUMBER",
    "LONGEST_NAME",
    "LONGEST_NOTE",
    "choice",
    "clean_name",
    "clean_note",
    "did_you_mean",
    "fold",
    "format_count",
    "holds_unseen",
    "number_ranges",
    "pairs",
    "read_numbers",
    "read_pairs",
    "shorten",
    "whole_number",
    "without_controls",
]

LONGEST_NAME = 200
LONGEST_NOTE = 2000
LARGEST_NUMBER = 1_000_000

_Choice = TypeVar("_Choice", bound="StrEnum")

_FORBIDDEN_CATEGORIES = frozenset({"Cc", "Cs", "Zl", "Zp"})
_BIDI_CONTROLS = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
"""They reorder whatever stands after them on the line, so a table would no longer be readable."""
_INVISIBLE = frozenset({"Cf", "Zs", "Mn", "Me"})


_UNSTORABLE = re.compile("[\0\ud800-\udfff]")
_IGNORABLE = re.compile(
    "[\u00ad\u034f\u061c\u115f\u1160\u17b4\u17b5\u180b-\u180f\u200b-\u200f\u202a-\u202e\u2060-\u206f\u3164"
    "\ufe00-\ufe0f\ufeff\uffa0\ufff0-\ufff8\U0001bca0-\U0001bca3\U0001d173-\U0001d17a"
    "\U000e0000-\U000e0fff]"
)
"""What is not seen (Unicode 15, DerivedCoreProperties.txt, Default_Ignorable_Code_Point)."""


def fold(text: str) -> str:
    """Return the form in which two names are the same name: what differs must be seen.

    Neither case nor spacing counts, nor characters that nobody sees (as in NFKC_Casefold of the
    Unicode Standard, 3.13).  What no database can hold, and so no name is written with, becomes a
    sign that stands for it.
    """
    plain = _UNSTORABLE.sub("\ufffd", _IGNORABLE.sub("", text))
    return " ".join(unicodedata.normalize("NFKC", plain).casefold().split())


def holds_unseen(text: str) -> bool:
    """Whether a text holds characters that nobody sees."""
    return _IGNORABLE.search(text) is not None


def without_controls(text: str) -> str:
    """Return lines in which nothing steers a terminal or turns around what follows."""
    return "".join(c if c == "\n" or not _steers(c) else "�" for c in text)


def _steers(character: str) -> bool:
    return unicodedata.category(character) in _FORBIDDEN_CATEGORIES or character in _BIDI_CONTROLS


def shorten(text: str, at_most: int = 40) -> str:
    """Return text fit to be quoted in one sentence."""
    plain = "".join(
        c if unicodedata.category(c) not in _FORBIDDEN_CATEGORIES else "�" for c in text.strip()
    )
    plain = "".join(c for c in plain if c not in _BIDI_CONTROLS)
    return plain if len(plain) <= at_most else f"{plain[:at_most]}…"


def clean_name(text: str, what: str) -> str:
    """Return a name without the space around it.

    Parameters
    ----------
    text
        1 to 200 characters in any script; no control characters and no line breaks.
    what
        What it names, for the refusal: ``the paper's name``.

    Raises
    ------
    Refusal
        If it is empty, too long or can't stand on one line.
    """
    name = text.strip()
    if not fold(name) or all(unicodedata.category(c) in _INVISIBLE for c in name):
        raise Refusal(f"{what} is missing")
    _check_characters(name, what, LONGEST_NAME)
    return name


def clean_note(text: str, what: str = "the note") -> str:
    """Return a remark, or nothing: like `clean_name`, but it may be empty and longer."""
    note = text.strip()
    _check_characters(note, what, LONGEST_NOTE)
    return note


def _check_characters(text: str, what: str, at_most: int) -> None:
    if len(text) > at_most:
        raise Refusal(
            f"{what} '{shorten(text, 20)}' has {len(text):,} characters; at most {at_most:,} fit"
        )
    for character in text:
        if _steers(character):
            raise Refusal(
                f"{what} '{shorten(text)}' holds the control character U+{ord(character):04X};"
                " write it on one line, without such characters"
            )


def read_pairs(texts: Iterable[str], *, before: str = "", unclear: str) -> dict[str, str]:
    """Read what was written as ``name=value``, name by name; names are folded to small letters.

    Parameters
    ----------
    before
        What to put before the quoted text in a refusal.
    unclear
        What to say after it if it is no pair.

    Raises
    ------
    Refusal
        If one is no pair, or a name comes twice.
    """
    read: dict[str, str] = {}
    for text in texts:
        name, _, value = (side.strip() for side in text.partition("="))
        if not (name and value):
            raise Refusal(f"{before}'{shorten(text)}'{unclear}")
        name = name.casefold()
        if name in read:
            raise Refusal(f"{before}'{shorten(name)}' is given twice; keep one")
        read[name] = value
    return read


def read_numbers(texts: Iterable[str], what: str, *, most: int = 100_000) -> list[int]:
    """Read numbers as ``1-20`` and ``23,25`` name them, each once, in the order written.

    Parameters
    ----------
    what
        What they are, for a refusal: ``the layouts``.

    Raises
    ------
    Refusal
        If one can't be read, or a range runs backwards.
    """
    numbers: dict[int, None] = {}
    for text in texts:
        for part in text.split(","):
            first, dash, last = (side.strip() for side in part.partition("-"))
            last = last if dash else first
            if not all(re.fullmatch("[0-9]{1,6}", side) for side in (first, last)):
                raise Refusal(f"{what}: '{shorten(part)}' is no number; write 3, 1-20 or 23,25")
            if not 1 <= int(first) <= int(last) <= most:
                raise Refusal(f"{what}: '{shorten(part)}' is no range from 1 on")
            numbers |= dict.fromkeys(range(int(first), int(last) + 1))
    return list(numbers)


def pairs(texts: Iterable[str], option: str) -> dict[str, str]:
    """Read what was given as ``NAME=VALUE``, perhaps several times.

    Parameters
    ----------
    option
        What it was given as, for a refusal: ``--size``.

    Raises
    ------
    Refusal
        As `read_pairs`.
    """
    return read_pairs(texts, before=f"{option} ", unclear=": write it as NAME=VALUE")


def number_ranges(numbers: Iterable[int]) -> str:
    """Write whole numbers in their order as `read_numbers` reads them: ``1-4, 7``."""
    runs: list[list[int]] = []
    for number in sorted(set(numbers)):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(
        f"{run[0]}-{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs
    )


def format_count(number: int, what: str) -> str:
    """Write a number of things: ``1 sheet``, ``2,000 sheets``."""
    return f"{number:,} {what}" if number == 1 else f"{number:,} {what}s"


def whole_number(value: int, what: str, *, least: int = 0, most: int = LARGEST_NUMBER) -> int:
    """Return a whole number that lies within its limits.

    Raises
    ------
    Refusal
        If it is no whole number, less than `least` or more than `most`.
    """
    if isinstance(value, bool) or not isinstance(value, int):
        raise Refusal(f"{what} must be a whole number, not {shorten(str(value))}")
    if not least <= value <= most:
        raise Refusal(f"{what} must be {least:,} to {most:,}, not {value:,}")
    return value


def choice(kind: type[_Choice], value: str, what: str) -> _Choice:
    """Return the member of `kind` that is written so.

    Raises
    ------
    Refusal
        If there is none; it names those there are.
    """
    try:
        return kind(value.strip().casefold())
    except ValueError:
        known = ", ".join(kind)
        raise Refusal(f"{what} can't be '{shorten(value)}'; it is one of {known}") from None


def did_you_mean(wanted: str, known: Iterable[str]) -> str:
    """Return a clause that offers up to three known names near the wanted one, or nothing."""
    by_fold = {fold(name): name for name in known}
    close = get_close_matches(fold(wanted)[:LONGEST_NAME], by_fold, n=3, cutoff=0.6)
    if not close:
        return ""
    return "; did you mean " + " or ".join(f"'{by_fold[key]}'" for key in close) + "?"
