"""How words and numbers are written: in which language, with which decimal sign.

Everything that makes sentences takes a `Translator` and asks it for each of them by its English
text, as gettext does.  `ENGLISH` gives the text back as it is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from nester.core.lengths import format_length, format_size

if TYPE_CHECKING:
    from nester.core.lengths import Length, Unit

__all__ = ["ENGLISH", "Translator", "translatable"]


def translatable(text: str) -> str:
    """Return a text as it is, and mark it for the catalogues as one to be translated."""
    return text


def _untranslated(text: str) -> str:
    return text


def _english_plural(one: str, many: str, number: int) -> str:
    return one if number == 1 else many


@dataclass(frozen=True)
class Translator:
    """A language to write in.

    Attributes
    ----------
    say
        Returns a text, given in English, in this language.
    say_many
        The same for a text with a number: its forms for one and for many, and the number.
    decimal_mark
        The sign between a number's whole and its decimals.
    """

    say: Callable[[str], str] = _untranslated
    say_many: Callable[[str, str, int], str] = _english_plural
    decimal_mark: str = "."

    def count(self, one: str, many: str, number: int) -> str:
        """Write a number of things; the texts hold ``{n}``."""
        return self.say_many(one, many, number).format(n=number)

    def length(self, length: Length, unit: Unit, *, with_unit: bool = True) -> str:
        """Write a length as `format_length` does."""
        return format_length(length, unit, with_unit=with_unit).replace(".", self.decimal_mark)

    def size(self, width: Length, height: Length, unit: Unit) -> str:
        """Write a size as `format_size` does."""
        return format_size(width, height, unit).replace(".", self.decimal_mark)


ENGLISH = Translator()
