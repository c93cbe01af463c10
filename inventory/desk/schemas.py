"""`quirebox schema`: what the JSON of the commands looks like."""

from __future__ import annotations

from importlib.resources import files
from typing import Annotated

import typer

from nester.refusal import Refusal

__all__ = ["schema", "schema_names", "schema_text"]


def schema_names() -> list[str]:
    """Return the names of all schemas."""
    folder = files("inventory.desk").joinpath("schemas_json")
    return sorted(
        one.name.removesuffix(".json") for one in folder.iterdir() if one.name.endswith(".json")
    )


def schema_text(name: str) -> str:
    """Return a schema as JSON text.

    Raises
    ------
    Refusal
        If there is none of that name.
    """
    if name not in schema_names():
        raise Refusal(f"there is no schema '{name[:40]}'; there are {', '.join(schema_names())}")
    return files("inventory.desk").joinpath("schemas_json", f"{name}.json").read_text("utf-8")


def schema(
    name: Annotated[str | None, typer.Argument(help="The name of a schema.")] = None,
) -> None:
    """Print the JSON Schema of what a command's --json prints; list their names if none is given.

    \b
    Example:
      quirebox schema fit
    """
    typer.echo("\n".join(schema_names()) if name is None else schema_text(name).rstrip())
