"""Shops as earlier versions of the program left them."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from sqlalchemy import create_engine

from inventory.database import migrate, sqlite

__all__ = ["FILL", "make_old_shop"]

FILL = {
    "0001": """
        INSERT INTO shop VALUES (1, 'Nook', 'cm', 'EUR', 1800000, 50);
        INSERT INTO paper VALUES
            (1, 'Straße', 'strasse', 'grey', '#808080', 'matt', 300, 'plain', 'long'),
            (2, 'Waves', 'waves', 'blue', NULL, '', 120, 'directional', 'unknown');
        INSERT INTO place VALUES (1, 'Shelf', 'shelf', NULL), (2, 'Box', 'box', 1);
        INSERT INTO orders VALUES (1, 'Ada', 'layered-box', '{"panel": "18"}', 'cm',
            '{"all": "Waves"}', 2, '2026-01-31', 'confirmed', '2026-01-01 10:00:00.000000');
        INSERT INTO batch VALUES
            (1, '2026-01-02 10:00:00.000000', 'straight', 'normal', 'open', '{}');
        INSERT INTO batch_order VALUES (1, 1);
        INSERT INTO stock VALUES
            (1, 'sheet', 1, 'S-1', 1, 12000000, 16800000, '1.25', 1, '', NULL),
            (2, 'offcut', 1, 'K-1', 1, 2400000, 4800000, NULL, 2, 'bent', 1);
        INSERT INTO movement VALUES
            (1, 1, 10, 'opening', '2026-01-01 10:00:00.000000', NULL, '', NULL),
            (2, 1, -1, 'cut', '2026-01-02 11:00:00.000000', 1, '', NULL),
            (3, 2, 1, 'kept', '2026-01-02 11:00:00.000000', 1, '', NULL),
            (4, 1, 1, 'undone', '2026-01-02 12:00:00.000000', 1, '', 2);
    """,
    "0002": """
        UPDATE paper SET caliper = 7200 WHERE id = 1;
        INSERT INTO own_design VALUES
            (1, 'sachet', 'sachet', 'name = "sachet"', '2026-01-03 10:00:00.000000');
        INSERT INTO orders VALUES (2, 'Bo', 'sachet', '{}', 'cm', '{"all": "Waves"}', 1,
            '2026-01-31', 'delivered', '2026-01-03 11:00:00.000000');
    """,
    "0003": """
        UPDATE paper SET note = 'cracks on tight folds' WHERE id = 1;
        INSERT INTO substitute VALUES (1, 2, 1);
        INSERT INTO place VALUES (3, 'Shelf 2', 'shelf 2', NULL), (4, 'Box', 'box', 3);
        INSERT INTO delivery VALUES (1, 'Mill', 'mill', 'N 7', 'n 7');
        INSERT INTO deed VALUES
            (1, 'received', '2026-01-04 10:00:00.000000', '', NULL, NULL, NULL, 1, NULL),
            (2, 'cut', '2026-01-04 11:00:00.000000', '', 1, 1, '[1]', NULL, NULL),
            (3, 'undone', '2026-01-04 12:00:00.000000', '', 1, NULL, NULL, NULL, 2);
        UPDATE stock SET lot = 'L 5' WHERE id = 1;
        INSERT INTO movement VALUES
            (5, 1, -2, 'cut', '2026-01-04 11:00:00.000000', 1, '', NULL, 2),
            (6, 1, 2, 'undone', '2026-01-04 12:00:00.000000', 1, '', 5, 3);
        INSERT INTO stock_count VALUES (1, 1, 10, 10);
        INSERT INTO lost VALUES (1, 2, 1, 1, 0, 2, NULL);
        INSERT INTO supply VALUES (1, 'Ribbon', 'ribbon', 'reel', '', '');
        INSERT INTO supply_item VALUES (1, 1, 'R-1', '4.5', 4, '');
        INSERT INTO supply_movement VALUES (1, 1, 240000000, 1);
    """,
    "0004": """
        UPDATE shop SET gap = 48000, longest_cut = 7440000, smallest_strip = 240000, stages = 3,
            follow_grain = FALSE;
        INSERT INTO stock VALUES (3, 'offcut', 2, 'K-2', 1, 12000000, 16800000, NULL, NULL, '',
            1, '', 120000, 0, 0, 0, 'height');
        INSERT INTO deed VALUES
            (4, 'bruised', '2026-01-05 10:00:00.000000', '', NULL, NULL, NULL, NULL, NULL),
            (5, 'grain', '2026-01-05 11:00:00.000000', '', NULL, NULL, NULL, NULL, NULL);
        INSERT INTO movement VALUES
            (7, 1, -1, 'bruised', '2026-01-05 10:00:00.000000', NULL, '', NULL, 4),
            (8, 3, 1, 'bruised', '2026-01-05 10:00:00.000000', NULL, '', NULL, 4),
            (9, 1, 1, 'counted', '2026-01-05 12:00:00.000000', NULL, '', NULL, NULL);
        INSERT INTO bruise VALUES (1, 4, 3, 0, 0, 240000, 240000);
        INSERT INTO grain_told VALUES (1, 5, 2, 'width');
    """,
    "0005": """
        UPDATE shop SET making_days = 4;
        INSERT INTO supplier VALUES (1, 'Mill', 'mill', 'GBP', '4.9', '60', '0', 5, 'by post');
        INSERT INTO exchange_rate VALUES
            (1, 'GBP', '1.1725', '2026-01-06', '2026-01-06 10:00:00.000000');
        INSERT INTO price_list VALUES
            (1, 1, '2026-01-06', '2026-01-06 10:00:00.000000', 'mill.csv');
        INSERT INTO price VALUES
            (1, 1, 1, 12000000, 16800000, 25, '31.25', 'GBP', 1, NULL),
            (2, 1, 2, 12000000, 16800000, 10, NULL, 'GBP', 2, 9);
        INSERT INTO restock_level VALUES
            (1, 1, 12000000, 16800000, 5, 30, '2026-01-06 10:00:00.000000'),
            (2, 2, NULL, NULL, 2, 2, '2026-01-06 10:00:00.000000');
        INSERT INTO deed VALUES
            (6, 'ordered', '2026-01-06 10:00:00.000000', '', NULL, NULL, NULL, NULL, NULL),
            (7, 'received', '2026-01-11 10:00:00.000000', '', NULL, NULL, NULL, 1, NULL),
            (8, 'closed', '2026-01-12 10:00:00.000000', '', NULL, NULL, NULL, NULL, NULL);
        INSERT INTO purchase VALUES (1, 6, 1, '2026-01-06', '2026-01-11', 'M 1', 'GBP', '4.9');
        INSERT INTO purchase_line VALUES (1, 1, 1, 12000000, 16800000, 25, 2, '31.25');
        INSERT INTO movement VALUES
            (10, 1, 25, 'received', '2026-01-11 10:00:00.000000', NULL, '', NULL, 7),
            (11, 1, -25, 'counted', '2026-01-11 12:00:00.000000', NULL, '', NULL, NULL);
        INSERT INTO purchase_receipt VALUES (1, 7, 1, 1, 1, '32.45');
        INSERT INTO purchase_end VALUES (8, 1);
    """,
    "0006": """
        INSERT INTO cost_rates VALUES
            (1, '18', NULL, '0.8', '60', '0', '0', '6.5', '0.3', '25', NULL, '.50 .95', 14);
        INSERT INTO consumable_rate VALUES
            (1, 'ribbon', 'ribbon', 'length', 1, NULL, NULL, '3'),
            (2, 'eyelet', 'eyelet', 'count', NULL, '0.04', NULL, NULL);
        INSERT INTO print_price VALUES (1, 2160000, 3120000, '0.25');
        INSERT INTO assembly_time VALUES (1, 'layered-box', 'layered-box', '90');
        INSERT INTO postage_step VALUES (1, '500', '3.9'), (2, '2000', '5.5');
    """,
    "0007": """
        INSERT INTO cutting_time VALUES (2, 2, 1500, 1200);
    """,
    "0009": """
        INSERT INTO spare_piece VALUES (1, 'C-1', 1, 'tier 1', '{"name":"tier 1","role":"tier",
            "outline":[[0,0],[1200000,0],[1200000,2400000],[0,2400000]]}', 1200000, 2400000, NULL);
        INSERT INTO spare_piece_movement VALUES (1, 2, 1, 1, NULL);
        INSERT INTO plan_change VALUES (1, 2, 1, NULL);
        INSERT INTO paper_change VALUES (1, 2, 1, '{"grammage": 250}', '{"grammage": 300}', '',
            '2027-03-01 09:00:00');
        INSERT INTO order_change
            VALUES (1, 2, 1, NULL, '{"status": "confirmed"}', '', '2027-03-01 09:00:00');
    """,
    "0010": """
        INSERT INTO stock VALUES (4, 'offcut', 1, 'K1-1', 1, 2400000, 4800000, NULL, 2, '',
            1, '', 0, 0, 0, 0, 'unknown', 1);
    """,
}
"""What a shop of each revision may hold: rows for the tables it brought."""


def make_old_shop(path: Path, revision: str, *, filled: bool = False) -> None:
    """Make a file whose tables are of a revision.

    Parameters
    ----------
    filled
        Whether they hold all that a shop of that revision could.
    """
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(f"PRAGMA application_id = {sqlite._APPLICATION_ID}")
    for each in [known for known in FILL if known < revision and filled] + [revision]:
        engine = create_engine(f"sqlite:///{path}")  # without foreign keys, as updates need it
        with engine.begin() as connection:
            migrate.upgrade(connection, each)
        engine.dispose()
        if filled:
            with closing(sqlite3.connect(path)) as driver:
                driver.executescript(FILL[each])
