"""Where the command `quirebox` begins: as little as can be, so that Ctrl-C works at once."""

from __future__ import annotations

import gc
import os
import sys

__all__ = ["run"]


def run() -> None:
    """Run the command line and end the process with its exit code."""
    # Imports make many objects that stay: looking through them for garbage, over and over, is a
    # tenth of a plain command's time; so is pydantic's search for plug-ins, of which it has none.
    gc.set_threshold(200_000, 20, 20)
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    try:
        from inventory.cli.main import main

        code = main(sys.argv[1:])
    except KeyboardInterrupt:
        print("quirebox: stopped; nothing was stored.", file=sys.stderr)  # noqa: T201
        code = 130
    # The process gives all its memory back at once: no need to look it through once more.
    gc.freeze()
    sys.exit(code)
