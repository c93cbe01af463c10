"""`quirebox schema`: what the JSON of the commands looks like."""

from __future__ import annotations

from typing import Annotated

import typer

from inventory.cli.shared.terminal import say
from inventory.views.schemas import schema_names, schema_text

__all__ = ["schema"]


def schema(
    name: Annotated[str | None, typer.Argument(help="The name of a schema.")] = None,
) -> None:
    """Print the JSON Schema of a command's JSON; without a name, list all schemas.

    \b
    Example:
      quirebox schema fit
    """
    say("\n".join(schema_names()) if name is None else schema_text(name).rstrip())
