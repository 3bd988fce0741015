"""Registered trial plans, later changes to them, and the keeper's own claims. They only ever grow."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

Words = sa.Text().with_variant(sa.TEXT(collation="C"), "postgresql")

GROWING = ("plans", "plan_changes", "own_claims")


def _text(*names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, Words, nullable=False) for name in names]


def upgrade() -> None:
    """Make the three tables, and the triggers that keep each one from being changed."""
    op.create_table(
        "plans",
        *_text("name", "text", "sha256", "registered_at"),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_plans")),
        sqlite_strict=True,
    )
    op.create_table(
        "plan_changes",
        *_text("id", "plan", "what"),
        sa.Column("bin", Words),
        *_text("words", "noted_at"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plan_changes")),
        sa.ForeignKeyConstraint(["plan"], ["plans.name"], name=op.f("fk_plan_changes_plan")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_plan_changes_plan"), "plan_changes", ["plan"])
    op.create_table(
        "own_claims",
        *_text("id", "text", "noted_at"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_own_claims")),
        sqlite_strict=True,
    )
    if op.get_bind().dialect.name == "postgresql":
        for table in GROWING:
            op.execute(
                f"CREATE TRIGGER {table}_refuse_change BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
            )
        return
    for table in GROWING:
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_refuse_{verb.lower()} BEFORE {verb} ON {table} BEGIN "
                "SELECT RAISE(ABORT, 'a journal is never changed: add a correction instead'); END"
            )


def downgrade() -> None:
    """Refuse: going back would remove what was registered."""
    raise NotImplementedError("a journal that holds trial plans is not taken back: keep the folder, or move it away")
