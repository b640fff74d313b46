"""A seal for each row; entries of the workshop itself; contacts; acts, editions and presses as columns.

Answers about photos, keys of pH strips and the id in the tags, which were settings, become entries of the workshop.
"""

from __future__ import annotations

import json

import sqlalchemy as sa
from alembic import op

from curejournal.journal.former_settings import entries_of_settings
from curejournal.journal.seals import seal_rows
from curejournal.journal.stored import refuse_damaged

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

GROWS = "SELECT RAISE(ABORT, 'the journal only grows')"
# Nothing of a contact changes, save that its words are blanked together.
FIXED = ("id", "first_id", "words_hash", "author", "recorded_at_utc")
WORDS = ("name", "details", "salt")


def upgrade() -> None:
    connection = op.get_bind()
    sqlite = connection.dialect.name == "sqlite"
    refuse_damaged(connection, ("batch", "photo", "entry", "card", "setting"))
    _make_tables()
    if not sqlite:
        op.execute("ALTER TABLE entry DISABLE TRIGGER entry_keeps")
    _widen_entry()
    for number, record in connection.execute(sa.text("SELECT id, record FROM entry WHERE kind = 'decision'")).all():
        act = json.loads(record)
        values = {"act": act["act"], "edition": act["rules_version"].partition("-")[0][:80], "id": number}
        connection.execute(sa.text("UPDATE entry SET act = :act, edition = :edition WHERE id = :id"), values)
    _guard(sqlite)
    _take_over_settings(connection)
    seal_rows(connection)


def _make_tables() -> None:
    op.create_table(
        "contact",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("first_id", sa.Integer()),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("details", sa.Text(), nullable=False),
        sa.Column("salt", sa.String(64), nullable=False),
        sa.Column("words_hash", sa.String(64), nullable=False),
        sa.Column("author", sa.String(80), nullable=False),
        sa.Column("recorded_at_utc", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["first_id"], ["contact.id"], name="fk_contact_first_id_contact"),
        sa.PrimaryKeyConstraint("id", name="pk_contact"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_contact_first_id", "contact", ["first_id"])
    op.create_table(
        "seal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("table_name", sa.String(20), nullable=False),
        sa.Column("row_key", sa.String(64), nullable=False),
        sa.Column("row_hash", sa.String(64), nullable=False),
        sa.Column("chain", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_seal"),
        sa.UniqueConstraint("table_name", "row_key", name="uq_seal_table_name_row_key"),
        sqlite_autoincrement=True,
    )


def _widen_entry() -> None:
    # On SQLite this copies the table, which takes its triggers away; they are put back with the others.
    with op.batch_alter_table("entry", table_kwargs={"sqlite_autoincrement": True}) as entry:
        entry.alter_column("batch_id", existing_type=sa.Integer(), nullable=True)
        for column in (
            sa.Column("act", sa.String(20)),
            sa.Column("edition", sa.String(80)),
            sa.Column("contact_id", sa.Integer()),
            sa.Column("press_key", sa.String(80)),
            sa.Column("press_part", sa.Integer()),
            sa.Column("pressed_at_utc", sa.DateTime()),
            sa.Column("pressed_at_offset_minutes", sa.Integer()),
        ):
            entry.add_column(column)
        entry.create_foreign_key("fk_entry_contact_id_contact", "contact", ["contact_id"], ["id"])
        entry.create_unique_constraint("uq_entry_press_key_press_part", ["press_key", "press_part"])
    op.create_index("ix_entry_contact_id", "entry", ["contact_id"])


def _guard(sqlite: bool) -> None:
    if sqlite:
        for table, act in (("entry", "UPDATE"), ("entry", "DELETE"), ("seal", "UPDATE"), ("seal", "DELETE")):
            op.execute(f"CREATE TRIGGER {table}_keeps_on_{act.lower()} BEFORE {act} ON {table} BEGIN {GROWS}; END")
        op.execute(f"CREATE TRIGGER contact_keeps_on_delete BEFORE DELETE ON contact BEGIN {GROWS}; END")
        kept = [f"NEW.{name} IS OLD.{name}" for name in FIXED] + [f"NEW.{name} = ''" for name in WORDS]
        op.execute(
            "CREATE TRIGGER contact_keeps_on_update BEFORE UPDATE ON contact "
            f"WHEN NOT ({' AND '.join(kept)}) BEGIN {GROWS}; END"
        )
        return
    op.execute("ALTER TABLE entry ENABLE TRIGGER entry_keeps")
    kept = [f"NEW.{name} IS NOT DISTINCT FROM OLD.{name}" for name in FIXED] + [f"NEW.{name} = ''" for name in WORDS]
    op.execute(
        "CREATE FUNCTION contact_only_blanks() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN IF {' AND '.join(kept)} THEN RETURN NEW; END IF; "
        "RAISE EXCEPTION 'the journal only grows'; END $$"
    )
    op.execute(
        "CREATE TRIGGER contact_keeps_words BEFORE UPDATE ON contact "
        "FOR EACH ROW EXECUTE FUNCTION contact_only_blanks()"
    )
    for table, acts in (("contact", "DELETE OR TRUNCATE"), ("seal", "UPDATE OR DELETE OR TRUNCATE")):
        op.execute(
            f"CREATE TRIGGER {table}_keeps BEFORE {acts} ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION journal_only_grows()"
        )


def _take_over_settings(connection: sa.Connection) -> None:
    entry = sa.Table("entry", sa.MetaData(), autoload_with=connection)
    setting = sa.Table("setting", sa.MetaData(), autoload_with=connection)
    known = set(connection.scalars(sa.text("SELECT sha256 FROM photo")))
    rows = connection.execute(sa.select(setting).order_by(setting.c.id))
    former = [(row.name, json.loads(row.value), row.set_at_utc) for row in rows]
    for made in entries_of_settings(former, known):
        times = {"at_utc": made.at, "at_offset_minutes": 0, "recorded_at_utc": made.at}
        record = json.dumps(made.record, ensure_ascii=False, separators=(",", ":"))
        about = {"author": made.by, "photo_sha256": made.photo, "press_key": made.press_key}
        part = {"press_part": 0, "pressed_at_utc": made.at, "pressed_at_offset_minutes": 0} if made.press_key else {}
        connection.execute(entry.insert().values(kind=made.kind, record=record, **times, **about, **part))


def downgrade() -> None:
    raise NotImplementedError("a journal is never taken back; restore the backup made before the upgrade")
