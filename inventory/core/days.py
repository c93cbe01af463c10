"""Days as people write them: ``2027-03-14``, ``tomorrow``, ``friday``, ``in 2 weeks``, ``24 Dec``.

Names of days and months are those of Unicode's Common Locale Data Repository, in every language of
the documents.
"""

from __future__ import annotations

import calendar
import re
from datetime import date, timedelta
from functools import cache

from inventory.core.text import fold, shorten
from nester.core.errors import Refusal

__all__ = ["read_due"]

_LANGUAGES = ("en", "de")
_COUNTED = {"today": 0, "heute": 0, "tomorrow": 1, "morgen": 1, "übermorgen": 2,
            "day after tomorrow": 2, "the day after tomorrow": 2}  # fmt: skip
_UNITS = {"day": 1, "days": 1, "tag": 1, "tage": 1, "tagen": 1,
          "week": 7, "weeks": 7, "woche": 7, "wochen": 7}  # fmt: skip
_MONTHS = ("month", "months", "monat", "monate", "monaten")
_NUMBERS = {"a": 1, "an": 1, "one": 1, "ein": 1, "einem": 1, "einer": 1, "two": 2, "zwei": 2,
            "three": 3, "drei": 3, "four": 4, "vier": 4}  # fmt: skip
_NEXT = re.compile(r"(?:next|on|this|am|nächsten|nächste|kommenden|diesen) (.+)")
_IN = re.compile(r"in (\w+) (\w+)")
_ISO = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})")
_DAY_FIRST = re.compile(r"([0-9]{1,2})(?:\.|st|nd|rd|th)? ?([^\W\d]+)\.?,?(?: ([0-9]{4}))?")
_MONTH_FIRST = re.compile(r"([^\W\d]+)\.? ([0-9]{1,2})(?:st|nd|rd|th)?,?(?: ([0-9]{4}))?")
_DOTTED = re.compile(r"([0-9]{1,2})\. ?([0-9]{1,2})\.(?: ?([0-9]{4}))?")


def read_due(text: str, today: date) -> date:
    """Read a day that is due, as people write it, in English or German.

    A weekday is the next one after today; a day without a year is the next one from today on.

    Parameters
    ----------
    today
        The day from which others are counted.

    Raises
    ------
    Refusal
        If it can't be read, or there is no such day.
    """
    words = " ".join(fold(text).split())
    try:
        day = _read(words, today)
    except (ValueError, OverflowError):
        raise Refusal(f"'{shorten(text)}': there is no such day") from None
    if day is None:
        wrong = f"'{shorten(text)}' is not a day" if words else "a day is missing"
        raise Refusal(f"{wrong}; write it like 2027-03-14, tomorrow, friday, in 2 weeks or 24 Dec")
    return day


def _read(words: str, today: date) -> date | None:
    if match := _ISO.fullmatch(words):
        return date(*map(int, match.groups()))
    if words in _COUNTED:
        return today + timedelta(_COUNTED[words])
    if match := _IN.fullmatch(words):
        return _counted(match[1], match[2], today)
    if match := _NEXT.fullmatch(words):
        words = match[1]
        if words in ("week", "woche"):
            return today + timedelta(7)
        if words in _MONTHS:
            return _months_on(today, 1)
    if (weekday := _weekdays().get(words)) is not None:
        return today + timedelta((weekday - today.weekday() - 1) % 7 + 1)
    if match := _DOTTED.fullmatch(words):
        return _next(int(match[1]), int(match[2]), match[3], today)
    if match := _DAY_FIRST.fullmatch(words):
        month = _months().get(match[2])
        return None if month is None else _next(int(match[1]), month, match[3], today)
    if match := _MONTH_FIRST.fullmatch(words):
        month = _months().get(match[1])
        return None if month is None else _next(int(match[2]), month, match[3], today)
    return None


def _counted(number: str, unit: str, today: date) -> date | None:
    if number.isascii() and number.isdigit():
        count = int(number)
    elif number in _NUMBERS:
        count = _NUMBERS[number]
    else:
        return None
    if unit in _MONTHS:
        return _months_on(today, count)
    return today + timedelta(count * _UNITS[unit]) if unit in _UNITS else None


def _months_on(today: date, months: int) -> date:
    """Return the same day so many months on, or the last of that month if it is shorter."""
    year, month = divmod(today.year * 12 + today.month - 1 + months, 12)
    last = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(today.day, last))


def _next(day: int, month: int, year: str | None, today: date) -> date:
    if year is not None:
        return date(int(year), month, day)
    for candidate in range(today.year, today.year + 9):  # 29 Feb may be eight years away
        try:
            found = date(candidate, month, day)
        except ValueError:
            if (day, month) == (29, 2):
                continue
            raise
        if found >= today:
            return found
    raise ValueError


@cache
def _weekdays() -> dict[str, int]:
    return _names("days")


@cache
def _months() -> dict[str, int]:
    return _names("months")


def _names(what: str) -> dict[str, int]:
    """Return the number of each name of a day (from 0, Monday) or month (from 1)."""
    from babel import Locale

    names: dict[str, int] = {}
    for language in _LANGUAGES:
        for context in ("format", "stand-alone"):
            for width in ("wide", "abbreviated"):
                kept = getattr(Locale(language), what)[context][width]
                names |= {fold(name).rstrip("."): number for number, name in kept.items()}
    return names
