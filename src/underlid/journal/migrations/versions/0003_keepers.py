"""Several keepers: who they are, whose each bin is, and which photos are shown. They only ever grow."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

Words = sa.Text().with_variant(sa.TEXT(collation="C"), "postgresql")
Number: sa.Double[float] = sa.Double().with_variant(sa.REAL(), "sqlite")

GROWING = ("keepers", "bin_keepers", "photos_shown")


def _text(*names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, Words, nullable=False) for name in names]


def upgrade() -> None:
    """Make the three tables, and the triggers that keep each one from being changed."""
    op.create_table(
        "keepers",
        *_text("id", "name", "role", "shown_as"),
        sa.Column("latitude", Number),
        sa.Column("longitude", Number),
        *_text("place", "photos", "noted_at"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_keepers")),
        sa.CheckConstraint("(latitude IS NULL) = (longitude IS NULL)", name=op.f("ck_keepers_whole_place")),
        sa.CheckConstraint(
            "latitude BETWEEN -90 AND 90 AND longitude BETWEEN -180 AND 180", name=op.f("ck_keepers_on_earth")
        ),
        sqlite_strict=True,
    )
    op.create_table(
        "bin_keepers",
        *_text("id", "bin", "keeper", "noted_at"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bin_keepers")),
        sa.ForeignKeyConstraint(["bin"], ["bins.name"], name=op.f("fk_bin_keepers_bin")),
        sqlite_strict=True,
    )
    op.create_table(
        "photos_shown",
        *_text("id", "photo", "shown", "noted_at"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photos_shown")),
        sa.ForeignKeyConstraint(["photo"], ["photos.id"], name=op.f("fk_photos_shown_photo")),
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
    """Refuse: going back would make public what a keeper kept private."""
    raise NotImplementedError("a journal of several keepers is not taken back: keep the folder, or move it away")
