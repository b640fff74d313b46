"""The ledger: batches, entries, photos, cards, settings; nothing is ever changed or removed."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

TABLES = ("batch", "photo", "entry", "card", "setting")


def upgrade() -> None:
    op.create_table(
        "batch",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(40), nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("started_at_utc", sa.DateTime(), nullable=False),
        sa.Column("started_at_offset_minutes", sa.Integer(), nullable=False),
        sa.Column("author", sa.String(80), nullable=False),
        sa.Column("recorded_at_utc", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_batch"),
        sa.UniqueConstraint("code", name="uq_batch_code"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "photo",
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("suffix", sa.String(8), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("taken_at_utc", sa.DateTime()),
        sa.Column("taken_at_offset_minutes", sa.Integer()),
        sa.Column("taken_from", sa.String(20)),
        sa.Column("original_name", sa.Text(), nullable=False),
        sa.Column("received_at_utc", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_photo"),
    )
    op.create_table(
        "entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("batch_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("at_utc", sa.DateTime(), nullable=False),
        sa.Column("at_offset_minutes", sa.Integer(), nullable=False),
        sa.Column("author", sa.String(80), nullable=False),
        sa.Column("recorded_at_utc", sa.DateTime(), nullable=False),
        sa.Column("record", sa.Text(), nullable=False),
        sa.Column("supersedes", sa.Integer()),
        sa.Column("photo_sha256", sa.String(64)),
        sa.ForeignKeyConstraint(["batch_id"], ["batch.id"], name="fk_entry_batch_id_batch"),
        sa.ForeignKeyConstraint(["supersedes"], ["entry.id"], name="fk_entry_supersedes_entry"),
        sa.ForeignKeyConstraint(["photo_sha256"], ["photo.sha256"], name="fk_entry_photo_sha256_photo"),
        sa.PrimaryKeyConstraint("id", name="pk_entry"),
        sa.UniqueConstraint("supersedes", name="uq_entry_supersedes"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_entry_batch_id_kind_at_utc", "entry", ["batch_id", "kind", "at_utc"])
    op.create_index("ix_entry_batch_id_at_utc_at_offset_minutes", "entry", ["batch_id", "at_utc", "at_offset_minutes"])
    op.create_index("ix_entry_photo_sha256", "entry", ["photo_sha256"])
    op.create_table(
        "card",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("copy_id", sa.String(80), nullable=False),
        sa.Column("toml", sa.Text(), nullable=False),
        sa.Column("added_at_utc", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_card"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_card_name_id", "card", ["name", "id"])
    op.create_table(
        "setting",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("set_at_utc", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_setting"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_setting_name_id", "setting", ["name", "id"])
    if op.get_bind().dialect.name == "sqlite":
        for table in TABLES:
            for act in ("UPDATE", "DELETE"):
                op.execute(
                    f"CREATE TRIGGER {table}_keeps_on_{act.lower()} BEFORE {act} ON {table} "
                    "BEGIN SELECT RAISE(ABORT, 'the journal only grows'); END"
                )
        return
    op.execute(
        "CREATE FUNCTION journal_only_grows() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'the journal only grows'; END $$"
    )
    for table in TABLES:
        op.execute(
            f"CREATE TRIGGER {table}_keeps BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION journal_only_grows()"
        )


def downgrade() -> None:
    raise NotImplementedError("a journal is never taken back; restore the backup made before the upgrade")
