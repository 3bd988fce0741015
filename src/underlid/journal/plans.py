"""Registered trial plans, the changes to them and the keeper's own claims: what a journal takes and gives back.

A plan is text here, and so is a claims file: neither is ever interpreted. The hash of a plan is
looked at each time the plan is read, so a plan that came to harm is never handed out. It cannot show
that somebody wrote another plan and its hash into the file: for that, publish the hash at the start.
"""

from __future__ import annotations

import hashlib

from sqlalchemy import Connection, Table

from underlid.journal.errors import PlanExists, TakenId, UnreadableRow, Unstorable
from underlid.journal.queries import insert_rows, load_records
from underlid.journal.rows import Row, as_row, check_name, named, same_content
from underlid.journal.rules import unknown_plan
from underlid.journal.tables import own_claims, plan_changes, plans
from underlid.records import OwnClaims, PlanChange, RegisteredPlan


def add_plan(connection: Connection, new: RegisteredPlan) -> None:
    """Store a plan, unless it stands already with the same text; the moment of the first time holds."""
    row = as_row(new)
    if not new.name.strip() or new.name != new.name.strip():
        raise Unstorable(field="name", what=named(new), detail="it is empty or has a space at an end")
    if not new.text.strip():
        raise Unstorable(field="text", what=named(new), detail="it is empty, write the plan first")
    if new.sha256 != _sha256(new.text):
        raise Unstorable(field="sha256", what=named(new), detail="it is not the hash of the text, hash the text again")
    standing = load_plans(connection)
    if new.name in standing and new.text == standing[new.name].text:
        return
    for other in standing.values():
        if new.name.casefold() == other.name.casefold():
            raise PlanExists(name=other.name, when=f"{other.registered_at:%Y-%m-%d %H:%M}")
    check_name("name", new)
    insert_rows(connection, plans, [row])


def load_plans(connection: Connection) -> dict[str, RegisteredPlan]:
    """Return every plan by its name, the first registered first; raise UnreadableRow if a hash does not fit."""
    found = load_records(connection, RegisteredPlan, plans)
    for plan in found:
        if plan.sha256 != _sha256(plan.text):
            raise UnreadableRow(f"the text of plan '{plan.name}' is not the one that was registered")
    return {plan.name: plan for plan in sorted(found, key=lambda plan: (plan.registered_at, plan.name))}


def load_plan(connection: Connection, name: str) -> RegisteredPlan:
    """Return one plan; raise UnknownPlan, which lists those there are."""
    found = load_plans(connection)
    if name not in found:
        raise unknown_plan(name, found)
    return found[name]


def add_change(connection: Connection, new: PlanChange) -> None:
    """Store a change to a plan that stands, unless the change stands already."""
    row = as_row(new)
    if new.what == "bin dropped" and not (new.bin or "").strip():
        raise Unstorable(field="bin", what=named(new), detail="it is empty, name the bin that was dropped")
    if not new.words.strip():
        raise Unstorable(field="words", what=named(new), detail="they are empty, say what changed and why")
    load_plan(connection, new.plan)
    _add(connection, plan_changes, new, row)


def load_changes(connection: Connection, plan: str | None = None) -> list[PlanChange]:
    """Return the changes to one plan or to all, oldest first."""
    where = [] if plan is None else [plan_changes.c.plan == plan]
    return sorted(load_records(connection, PlanChange, plan_changes, *where), key=lambda each: (each.noted_at, each.id))


def add_claims(connection: Connection, new: OwnClaims) -> None:
    """Store the keeper's own claims, unless they stand already under this id."""
    _add(connection, own_claims, new, as_row(new))


def load_claims(connection: Connection) -> list[OwnClaims]:
    """Return the keeper's own claims, oldest first."""
    return sorted(load_records(connection, OwnClaims, own_claims), key=lambda each: (each.noted_at, each.id))


def _add(connection: Connection, table: Table, new: PlanChange | OwnClaims, row: Row) -> None:
    earlier = load_records(connection, type(new), table, table.c.id == new.id)
    if not earlier:
        check_name("id", new)
        insert_rows(connection, table, [row])
    elif not same_content(new, earlier[0]):
        raise TakenId(what=named(new))


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
