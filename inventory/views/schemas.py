"""The JSON Schemas of what programs read."""

from __future__ import annotations

from importlib.resources import files

from nester.core.errors import Refusal

__all__ = ["schema_names", "schema_text"]

_SCHEMAS = files("inventory.views").joinpath("schemas_json")


def schema_names() -> list[str]:
    """Return the names of all schemas."""
    names = [file.name for file in _SCHEMAS.iterdir()]
    return sorted(name.removesuffix(".json") for name in names if name.endswith(".json"))


def schema_text(name: str) -> str:
    """Return a schema as JSON text.

    Raises
    ------
    Refusal
        If there is none of that name.
    """
    if name not in schema_names():
        raise Refusal(f"there is no schema '{name[:40]}'; there are {', '.join(schema_names())}")
    return _SCHEMAS.joinpath(f"{name}.json").read_text("utf-8")
