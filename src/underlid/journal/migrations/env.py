"""Run by Alembic. The journal hands over its open connection and commits it: all steps or none."""

from alembic import context

from underlid.journal.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,  # SQLite alters a table by making it anew
    transactional_ddl=True,
)
context.run_migrations()
