"""The command `quirebox`."""

from __future__ import annotations

import errno
import gc
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from inventory.desk import batches, demo, designs, fit, orders, papers, schemas, shops, stock
from nester.refusal import Refusal

__all__ = ["app", "main", "run"]

app = typer.Typer(
    name="quirebox",
    help="Tells people who make layered paper gift boxes what to cut from which sheet.",
    epilog="Start with 'quirebox demo', which makes a shop to try things on.",
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


@app.callback(invoke_without_command=True)
def quirebox(
    context: typer.Context,
    shop: Annotated[
        Path | None,
        typer.Option(
            "--shop",
            metavar="FILE",
            help="The shop's file.  [default: the file that QUIREBOX_SHOP names, else one in your"
            " data folder]",
            show_default=False,
        ),
    ] = None,
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    """Tell people who make layered paper gift boxes what to cut from which sheet."""
    if version:
        from importlib.metadata import version as version_of

        typer.echo(version_of("quirebox"))
        raise typer.Exit
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


app.command("demo")(demo.demo)
app.command("fit")(fit.fit)
app.add_typer(shops.app, name="shop")
app.add_typer(papers.app, name="paper")
app.add_typer(stock.sheets, name="sheet")
app.add_typer(stock.offcuts, name="offcut")
app.add_typer(stock.stash, name="stash")
app.add_typer(designs.app, name="design")
app.add_typer(orders.app, name="order")
app.add_typer(batches.app, name="batch")
app.command("schema")(schemas.schema)


def run() -> None:
    """Run the command line and end the process with its exit code."""
    # Imports make many objects that stay: looking through them for garbage, over and over, is a
    # tenth of a plain command's time.
    gc.set_threshold(50_000, 20, 20)
    sys.exit(main(sys.argv[1:]))


def main(arguments: Sequence[str]) -> int:
    """Run one command.

    Returns
    -------
    int
        0: done.  1: a fault of the program.  2: a mistake of the user, told in one sentence.
        3: pieces fit no sheet.  130: stopped by Ctrl-C.
    """
    from inventory.desk.tell import refuse, warn

    try:
        code = app(arguments, prog_name="quirebox", standalone_mode=False)
        sys.stdout.flush()
    except Refusal as refusal:
        refuse(str(refusal))
        return 2
    except typer.TyperException as error:
        refuse(error.format_message())
        return 2
    except (KeyboardInterrupt, typer.Abort):
        return _stopped()
    except (BrokenPipeError, SystemExit):
        # Whoever read our output has gone, as `head` does; Typer and Rich then want to exit with 1.
        _let_go_of_output()
        return 0
    except Exception as fault:
        if isinstance(fault, OSError) and fault.errno in _NO_ROOM:
            _let_go_of_output()
            refuse(f"what was to be printed can't be written ({fault.strerror})")
            return 2
        if os.environ.get("QUIREBOX_TRACEBACK"):
            raise
        warn(
            f"a fault of the program: {type(fault).__name__}: {' '.join(str(fault).split())}."
            " What was not finished was not stored. Set QUIREBOX_TRACEBACK=1 to see where."
        )
        return 1
    if code == _INTERRUPTED:
        return _stopped()
    return code if isinstance(code, int) else 0


_INTERRUPTED = 130
_NO_ROOM = (errno.ENOSPC, errno.EDQUOT)


def _let_go_of_output() -> None:
    """Throw away what could not be written, so that Python doesn't try once more at the end."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _stopped() -> int:
    from inventory.desk.tell import warn

    warn("stopped; what was not finished was not stored.")
    return _INTERRUPTED
