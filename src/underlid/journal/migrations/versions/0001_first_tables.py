"""First tables: bins and their bedding, seven kinds of entries, containers. They only ever grow."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

Words = sa.Text().with_variant(sa.TEXT(collation="C"), "postgresql")
Number: sa.Double[float] = sa.Double().with_variant(sa.REAL(), "sqlite")

GROWING = (
    "bins",
    "bedding_layers",
    "readings",
    "feedings",
    "sample_counts",
    "sample_stages",
    "sightings",
    "notes",
    "photos",
    "claims",
    "containers",
)


def _text(*names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, Words, nullable=False) for name in names]


def _time(name: str) -> list[sa.Column[str]]:
    return _text(*(f"{name}_{part}" for part in ("start", "end", "kind", "words", "flags")))


def _amount(table: str, name: str, *, optional: bool = False) -> list[sa.schema.SchemaItem]:
    return [
        sa.Column(f"{name}_low", Number),
        sa.Column(f"{name}_high", Number),
        *(sa.Column(f"{name}_{part}", Words, nullable=optional) for part in ("unit", "kind", "words", "flags")),
        sa.CheckConstraint(f"{name}_low <= {name}_high", name=op.f(f"ck_{table}_{name}_in_order")),
    ]


def _entries(table: str, *parts: sa.schema.SchemaItem) -> None:
    op.create_table(
        table,
        sa.Column("id", Words, nullable=False),
        *_text("bin"),
        *_time("when"),
        *_text("words"),
        sa.Column("corrects", Words),
        sa.Column("noted_at", Words),
        *parts,
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
        sa.ForeignKeyConstraint(["bin"], ["bins.name"], name=op.f(f"fk_{table}_bin")),
        sa.ForeignKeyConstraint(
            ["corrects", "bin"], [f"{table}.id", f"{table}.bin"], name=op.f(f"fk_{table}_corrects_bin")
        ),
        sa.UniqueConstraint("corrects", name=op.f(f"uq_{table}_corrects")),
        sa.UniqueConstraint("id", "bin", name=op.f(f"uq_{table}_id_bin")),
        sqlite_strict=True,
    )
    op.create_index(op.f(f"ix_{table}_bin"), table, ["bin"])


def upgrade() -> None:
    """Make every table, and the triggers that keep each one from being changed."""
    op.create_table(
        "bins",
        sa.Column("id", Words, nullable=False),
        *_text("name"),
        *_time("started"),
        *_text("timezone"),
        *_amount("bins", "length"),
        *_amount("bins", "width"),
        *_amount("bins", "height"),
        *_text("siting", "base", "wall"),
        *_amount("bins", "wall_thickness"),
        *_amount("bins", "founders"),
        *_text("species", "words"),
        sa.Column("noted_at", Words),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bins")),
        sa.UniqueConstraint("name", name=op.f("uq_bins_name")),
        sqlite_strict=True,
    )
    op.create_table(
        "bedding_layers",
        sa.Column("id", Words, nullable=False),
        *_text("bin"),
        sa.Column("position", sa.Integer, nullable=False),
        *_text("material"),
        *_amount("bedding_layers", "depth"),
        *_amount("bedding_layers", "moisture"),
        *_text("words"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bedding_layers")),
        sa.ForeignKeyConstraint(["bin"], ["bins.name"], name=op.f("fk_bedding_layers_bin")),
        sa.UniqueConstraint("bin", "position", name=op.f("uq_bedding_layers_bin_position")),
        sqlite_strict=True,
    )
    _entries(
        "readings",
        *_text("quantity"),
        *_amount("readings", "amount"),
        *_text("place"),
        *_amount("readings", "depth", optional=True),
        *_text("instrument"),
    )
    _entries("feedings", *_text("material"), *_amount("feedings", "amount"), *_text("place"))
    _entries("sample_counts", *_amount("sample_counts", "volume"), *_text("place"))
    _entries("sightings", *_amount("sightings", "amount"), *_text("stage", "place"))
    _entries("notes")
    _entries("photos", *_text("file", "sha256"))
    _entries("claims", *_text("sentence"))
    op.create_table(
        "sample_stages",
        *_text("sample"),
        sa.Column("position", sa.Integer, nullable=False),
        *_text("stage"),
        *_amount("sample_stages", "count"),
        sa.PrimaryKeyConstraint("sample", "position", name=op.f("pk_sample_stages")),
        sa.ForeignKeyConstraint(["sample"], ["sample_counts.id"], name=op.f("fk_sample_stages_sample")),
        sqlite_strict=True,
    )
    op.create_table(
        "containers",
        sa.Column("id", sa.Integer, nullable=False),
        *_text("name"),
        *_amount("containers", "holds"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_containers")),
        sqlite_strict=True,
    )
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            "CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
            "RAISE EXCEPTION 'a journal is never changed: add a correction instead' "
            "USING ERRCODE = 'integrity_constraint_violation'; END $$"
        )
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
    """Refuse: going back would remove the whole journal."""
    raise NotImplementedError("the first step of a journal is not undone: keep the folder, or move it away")
