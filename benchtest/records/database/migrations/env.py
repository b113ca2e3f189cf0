"""What alembic runs: the steps that are missing, on the connection that it was given.

SQLite cannot change most of a table in place; `render_as_batch` lets alembic copy the table instead.
"""

from alembic import context

from benchtest.records.database.case_tables import METADATA

context.configure(connection=context.config.attributes["connection"], target_metadata=METADATA, render_as_batch=True)
with context.begin_transaction():
    context.run_migrations()
