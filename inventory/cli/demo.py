"""`quirebox demo`: an invented shop and its week."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from inventory.cli.shared.terminal import say
from nester.core.problem import Effort

if TYPE_CHECKING:
    from inventory.core.plan import Plan
    from inventory.database.shop_file import ShopFile

__all__ = ["demo"]

_FOLDER = Path("quirebox-demo")


def demo() -> None:
    """Make an invented shop, plan its week and write the plan's files, all in one folder.

    It asks no questions, and replaces an earlier demo.

    \b
    Example:
      quirebox demo
    """
    from inventory.cli.shared.options import searching_in
    from inventory.cli.shared.terminal import console
    from inventory.core.text import format_count
    from inventory.demo import make_demo
    from inventory.documents.plan.text import plan_summary
    from inventory.production.planning import plan_batch

    def plan(shop_file: ShopFile) -> Plan:
        with searching_in(shop_file, None) as search:
            return plan_batch(shop_file, effort=Effort.QUICK, today=date.today(), **search)

    made = make_demo(_FOLDER, plan, say)
    number = made.plan.batch
    console().print(plan_summary(made.plan, made.pace))
    say(f"Wrote {format_count(len(made.files), 'file')} to {made.folder}:")
    say(f"batch-{number}.pdf to print and pin up, the same as .html for a phone,")
    say(f"lists as data, and pictures of the layouts in {made.folder / 'layouts'}.")
    say("To see more:")
    say(f"  quirebox --shop {made.shop} batch steps {number} --layout 1")
    say(f"  quirebox --shop {made.shop} stash list --colour black")
    say(f"  quirebox --shop {made.shop} order cost 1")
    say(f"  quirebox --shop {made.shop} buy list")
