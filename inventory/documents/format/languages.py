"""The languages of the documents: words from gettext catalogues, numbers and dates by locale.

A catalogue is `words/LANGUAGE.po` beside this file; it is read as it is, so that there is nothing
to compile.  A test finds all texts in the code and fails for those that a catalogue lacks.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import cache
from gettext import c2py
from importlib.resources import files
from typing import TYPE_CHECKING

from inventory.core.money import format_money
from nester.core.errors import Refusal
from nester.core.translation import Translator

if TYPE_CHECKING:
    from babel import Locale

__all__ = ["LANGUAGES", "ShopTranslator", "translator_for"]

LANGUAGES = ("en", "de")


@dataclass(frozen=True)
class ShopTranslator(Translator):
    """A translator that also writes dates and money; `language` is its code as in BCP 47."""

    language: str = "en"

    def date(self, day: date) -> str:
        """Write a day as the locale does, with the month as a word."""
        from babel.dates import format_date

        return format_date(day, "medium", self._locale)

    def money(self, amount: Decimal | Fraction, currency: str) -> str:
        """Write an amount, its currency code behind it."""
        return format_money(amount, currency).replace(".", self.decimal_mark)

    def percent(self, share: Fraction | Decimal, digits: int = 0) -> str:
        """Write a share of one in percent."""
        return f"{float(100 * share):.{digits}f} %".replace(".", self.decimal_mark)

    @property
    def _locale(self) -> Locale:
        from babel import Locale

        return Locale.parse(self.language)


@cache
def translator_for(language: str = "en") -> ShopTranslator:
    """Return the translator of a language.

    Raises
    ------
    Refusal
        If there is no catalogue of it.
    """
    if language not in LANGUAGES:
        raise Refusal(
            f"there are no documents in the language '{language[:20]}'; there are:"
            f" {', '.join(LANGUAGES)}"
        )
    if language == "en":
        return ShopTranslator()
    from babel.numbers import get_decimal_symbol

    say, say_many = _catalogue(language)
    return ShopTranslator(say, say_many, get_decimal_symbol(language), language)


def _catalogue(language: str) -> tuple[Callable[[str], str], Callable[[str, str, int], str]]:
    from babel.messages.pofile import read_po

    place = files("inventory.documents") / "words" / f"{language}.po"
    with place.open("rb") as file:
        catalogue = read_po(file, locale=language)
    words: dict[str, tuple[str, ...]] = {}
    for message in catalogue:
        if message.id and message.string and not message.fuzzy:
            (text, *_), forms = _several(message.id), _several(message.string)
            words[text] = forms
    plural = c2py(catalogue.plural_expr)

    def say(text: str) -> str:
        return words.get(text, (text,))[0]

    def say_many(one: str, many: str, number: int) -> str:
        forms = words.get(one, (one, many))
        return forms[min(plural(number), len(forms) - 1)]

    return say, say_many


def _several(text: str | list[str] | tuple[str, ...]) -> tuple[str, ...]:
    return (text,) if isinstance(text, str) else tuple(text)
