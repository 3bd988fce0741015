"""What a journal holds, as it is compared with another."""

from __future__ import annotations

from dataclasses import dataclass, field, fields

from sqlalchemy import Connection

from underlid.journal.plans import load_changes, load_claims, load_plans
from underlid.journal.queries import load_bins, load_containers, load_entries, load_records
from underlid.journal.tables import bin_keepers, keepers, photos_shown
from underlid.quantity.amount import VagueAmount
from underlid.records import (
    AnyEntry,
    Bin,
    BinKeeper,
    Keeper,
    OwnClaims,
    PhotoShown,
    PlanChange,
    RegisteredPlan,
)


@dataclass(slots=True)
class Held:
    """What a journal holds; of a container only what was said last."""

    bins: list[Bin] = field(default_factory=list)
    entries: list[AnyEntry] = field(default_factory=list)  # corrected ones too
    plans: list[RegisteredPlan] = field(default_factory=list)
    changes: list[PlanChange] = field(default_factory=list)
    own_claims: list[OwnClaims] = field(default_factory=list)
    containers: dict[str, VagueAmount] = field(default_factory=dict)
    keepers: list[Keeper] = field(default_factory=list)
    handed: list[BinKeeper] = field(default_factory=list)
    shown: list[PhotoShown] = field(default_factory=list)

    @classmethod
    def of(cls, connection: Connection) -> Held:
        """All that a journal holds at one moment."""
        return cls(
            bins=list(load_bins(connection).values()),
            entries=load_entries(connection),
            plans=list(load_plans(connection).values()),
            changes=load_changes(connection),
            own_claims=load_claims(connection),
            containers=load_containers(connection),
            keepers=load_records(connection, Keeper, keepers),
            handed=load_records(connection, BinKeeper, bin_keepers),
            shown=load_records(connection, PhotoShown, photos_shown),
        )

    def __bool__(self) -> bool:
        return any(getattr(self, each.name) for each in fields(self))
