"""Run by alembic: one connection, handed over by ``store.migrate``."""

from alembic import context

from burrline_service.store.tables import account

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=account.metadata,
    render_as_batch=True,
    transactional_ddl=True,
)
with context.begin_transaction():
    context.run_migrations()
