"""Places: shelves, drawers and boxes, one within another, written ``Shelf A / Drawer 2``.

One function for each change, as in `inventory.stock.listing`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import select

from inventory.core.limits import MAX_DEPTH
from inventory.core.text import clean_name, did_you_mean, fold, shorten
from inventory.database.tables.stock import Place
from nester.core.errors import Refusal

if TYPE_CHECKING:
    from sqlalchemy import Select
    from sqlalchemy.orm import Session

__all__ = [
    "PlaceTree",
    "add_place",
    "find_place",
    "get_or_add_place",
    "move_place",
    "place_ids_within",
]

_SEPARATOR = "/"


class PlaceTree:
    """All places of the book, read once."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._all = {place.id: place for place in session.scalars(select(Place))}
        self._paths: dict[int, str] = {}

    def path(self, place: int | None) -> str | None:
        """Return where a place is, from the outermost inwards, by `Place.id`."""
        if place is None:
            return None
        if place not in self._paths:
            names = [ancestor.name for ancestor in self._ancestors(self._all[place])]
            self._paths[place] = f" {_SEPARATOR} ".join(names)
        return self._paths[place]

    def find(self, text: str) -> Place | None:
        """Return the place written so: its whole path, or as much of its end as tells it apart.

        Raises
        ------
        Refusal
            If several places are called so.
        """
        keys = _keys(text)
        matches = [
            place
            for place in self._all.values()
            if place.name_key == fold(text) or self._path_keys(place)[-len(keys) :] == keys
        ]
        exact = [match for match in matches if self._path_keys(match) == keys]
        if len(exact or matches) > 1:
            known = " and ".join(sorted(f"'{self.path(match.id)}'" for match in matches))
            raise Refusal(f"'{shorten(text)}' may be {known}; write which one")
        return next(iter(exact or matches), None)

    def get(self, text: str) -> Place:
        """Return the place written so.

        Raises
        ------
        Refusal
            If there is none, or several are called so; names much like it are offered.
        """
        place = self.find(text)
        if place is None:
            known = sorted(
                {
                    name
                    for other in self._all.values()
                    for name in (other.name, self.path(other.id) or "")
                }
            )
            raise Refusal(f"there is no place '{shorten(text)}'{did_you_mean(text, known)}")
        return place

    def get_or_add(self, text: str | None) -> Place | None:
        """Return the place in which something is put; places that are new are added.

        Raises
        ------
        Refusal
            If a part of it can't be a name, or several places are called so.
        """
        if text is None or not text.strip():
            return None
        place = self.find(text)
        if place is not None:
            return place
        *outer, last = text.split(_SEPARATOR)
        parent = self.get_or_add(_SEPARATOR.join(outer)) if outer else None
        return self.add(last, parent)

    def check(self, text: str | None) -> None:
        """Refuse what `get_or_add` would refuse, and add nothing."""
        if text is not None and text.strip() and self.find(text) is None:
            for part in text.split(_SEPARATOR):
                clean_name(part, "the place's name")

    def add(self, name: str, parent: Place | None) -> Place:
        """Add a place within `parent`; see `add_place`."""
        clean = clean_name(name, "the place's name")
        if _SEPARATOR in clean:
            raise Refusal(
                f"the place's name '{shorten(clean)}' has a '{_SEPARATOR}', which stands between"
                " places; give the outer place by itself"
            )
        place = Place(name=clean, parent=parent)
        self.check_depth(parent, 1)
        self.check_free(place.name_key, parent)
        self._session.add(place)
        self._session.flush()
        self._all[place.id] = place
        return place

    def check_depth(self, parent: Place | None, height: int) -> None:
        """Refuse to put places that are `height` deep into one that leaves no room for them."""
        if parent is not None and len(self._ancestors(parent)) + height > MAX_DEPTH:
            raise Refusal(f"places can stand in each other at most {MAX_DEPTH} deep")

    def height(self, place: Place) -> int:
        """Return how deep places stand in each other within a place, itself counted."""
        return max(
            len(chain) - chain.index(place)
            for chain in map(self._ancestors, self._all.values())
            if place in chain
        )

    def check_free(self, key: str, parent: Place | None) -> None:
        """Refuse a name that another place within the same one has."""
        inside = parent.id if parent else None
        for other in self._all.values():
            if other.name_key == key and other.parent_id == inside:
                raise Refusal(
                    f"there is a place '{self.path(other.id)}' already;"
                    " give the new one another name"
                )

    def sorted(self) -> list[Place]:
        """Return all places, each followed by what stands in it."""
        return sorted(self._all.values(), key=self._path_keys)

    def depth(self, place: Place) -> int:
        """Return in how many others a place stands."""
        return len(self._ancestors(place)) - 1

    def contains(self, outer: Place, place: Place | None) -> bool:
        """Whether a place is `outer` or stands somewhere in it."""
        return place is not None and outer in self._ancestors(place)

    def _ancestors(self, place: Place) -> list[Place]:
        chain = [place]
        while (above := chain[-1].parent_id) is not None:
            chain.append(self._all[above])
            if len(chain) > len(self._all):
                raise Refusal(
                    f"the place '{shorten(place.name)}' stands in itself by the shop's records,"
                    " which are damaged; restore a backup of them"
                )
        return chain[::-1]

    def _path_keys(self, place: Place) -> list[str]:
        return [ancestor.name_key for ancestor in self._ancestors(place)]


def _keys(text: str) -> list[str]:
    return [fold(part) for part in text.split(_SEPARATOR)]


def add_place(session: Session, name: str, *, inside: str | None = None) -> Place:
    """Add a place, standing in another if `inside` names one.

    Raises
    ------
    Refusal
        If there is no place `inside`, or one of that name is in it already.
    """
    places = PlaceTree(session)
    parent = places.get(inside) if inside is not None else None
    return places.add(name, parent)


def move_place(
    session: Session, name: str, *, inside: str | None = None, call: str | None = None
) -> Place:
    """Put a place, with all that is in it, into another place; or call it otherwise.

    Parameters
    ----------
    inside
        Where it is put; an empty text takes it out of all others; None leaves it where it is.
    call
        Its new name.

    Raises
    ------
    Refusal
        If there is no such place, it would stand in itself, or the name is taken there.
    """
    places = PlaceTree(session)
    place = places.get(name)
    parent = place.parent
    if inside is not None:
        parent = places.get(inside) if inside.strip() else None
    if places.contains(place, parent):
        raise Refusal(f"'{places.path(place.id)}' can't stand in itself")
    places.check_depth(parent, places.height(place))
    called = place.name if call is None else clean_name(call, "the place's name")
    if _SEPARATOR in called:
        raise Refusal(f"a place's name can't have a '{_SEPARATOR}', which stands between places")
    if (fold(called), parent) != (place.name_key, place.parent):
        places.check_free(fold(called), parent)
    place.name, place.parent = called, parent
    session.flush()
    return place


def find_place(session: Session, name: str) -> Place:
    """Return the place of that name or path, in capitals or not.

    Raises
    ------
    Refusal
        If there is none, or several are called so; names much like it are offered.
    """
    return PlaceTree(session).get(name)


def get_or_add_place(session: Session, name: str | None) -> Place | None:
    """Return the place in which something is put; places that are new are added.

    Raises
    ------
    Refusal
        If a part of it can't be a name, or several places are called so.
    """
    if name is None or not name.strip():
        return None
    return PlaceTree(session).get_or_add(name)


def place_ids_within(place: Place) -> Select[int]:
    """Select the ids of a place and of all places within it."""
    inside = select(Place.id).where(Place.id == place.id).cte("inside", recursive=True)
    inside = inside.union(select(Place.id).join(inside, Place.parent_id == inside.c.id))
    return select(inside.c.id)
