"""How a journal's tables came to be: one file a step in `versions`, run when a journal is opened.

A step that makes a table anew (Alembic's batch mode on SQLite) drops that table's triggers: it must
make them again. HEAD in `underlid.journal.tables` names the newest step.
"""
