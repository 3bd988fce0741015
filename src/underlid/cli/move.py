"""Command: move a journal's records into a PostgreSQL database, or back into its own file."""

from __future__ import annotations

from typing import Annotated

import typer

from underlid.cli.options import DEFAULT_JOURNAL, JournalOption, JsonOption, show_json

OWN_FILE = "sqlite"


def move(
    to: Annotated[
        str,
        typer.Option(
            help="The url of an empty database, e.g. “postgresql://keeper@db.example/worms” (its password belongs into "
            "~/.pgpass, PGPASSWORD or a service file), or “sqlite” for the journal's own file."
        ),
    ],
    journal: JournalOption = DEFAULT_JOURNAL,
    as_json: JsonOption = False,
) -> None:
    """Move the records of a journal into a PostgreSQL database, or back; pictures stay in its folder."""
    from underlid.journal.moving import move as move_records
    from underlid.journal.store import Journal

    moved = move_records(Journal.open(journal), None if to == OWN_FILE else to)
    if as_json:
        show_json(
            {
                "from": moved.source,
                "to": moved.target,
                "rows": moved.rows,
                "sha256": moved.sha256,
                "kept": moved.kept.name,
            }
        )
        return
    print(f"Moved {sum(moved.rows.values())} rows from {moved.source} to {moved.target}.")
    print("  " + ", ".join(f"{table.replace('_', ' ')} {count}" for table, count in moved.rows.items() if count))
    print(f"  every row was read again on both sides and is the same: sha256 {moved.sha256}")
    print(f"  kept from before in {journal}: {moved.kept.name}; nothing was deleted there")
    if to != OWN_FILE:
        print("  the pictures stay in the folder; `underlid backup` copies both")
