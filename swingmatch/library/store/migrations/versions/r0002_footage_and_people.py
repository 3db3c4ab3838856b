"""Players' footage with a retention time; of whom something is in a model; files over two gigabytes."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """From the revision before to this one."""
    op.create_table(
        "footage",
        sa.Column("id", sa.String(64), primary_key=True),
        sa.Column("player", sa.String(64), nullable=False),
        sa.Column("filmed_on", sa.Date, nullable=False),
        sa.Column("keep_until", sa.Date, nullable=False),
        sa.Column("stroke", sa.String(64), nullable=False),
        sa.Column("note", sa.Text, nullable=False),
        sa.Column("added_at", sa.DateTime, nullable=False),
    )
    op.create_index("ix_footage_player", "footage", ["player"])
    op.create_index("ix_footage_keep_until", "footage", ["keep_until"])
    op.create_table(
        "model_people",
        sa.Column(
            "model_id", sa.String(64), sa.ForeignKey("models.id", ondelete="CASCADE"), primary_key=True
        ),
        sa.Column("code", sa.String(64), primary_key=True),
    )
    op.create_index("ix_model_people_code", "model_people", ["code"])
    # Until now a model held its own volunteer only.
    op.execute("INSERT INTO model_people (model_id, code) SELECT id, volunteer FROM models")

    # SQLite cannot change columns, and PostgreSQL keeps the names of a renamed table's constraints; so it is made anew.
    op.execute("CREATE TABLE old_media AS SELECT id, model_id, kind, sha256, size, name FROM media")
    op.drop_table("media")
    op.create_table(
        "media",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("model_id", sa.String(64), sa.ForeignKey("models.id", ondelete="CASCADE")),
        sa.Column("footage_id", sa.String(64), sa.ForeignKey("footage.id", ondelete="CASCADE")),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("size", sa.BigInteger, nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.UniqueConstraint("model_id", "name"),
        sa.UniqueConstraint("footage_id", "name"),
        sa.CheckConstraint("(model_id IS NULL) <> (footage_id IS NULL)", name="one_owner"),
    )
    op.execute(
        "INSERT INTO media (model_id, kind, sha256, size, name)"
        " SELECT model_id, kind, sha256, size, name FROM old_media ORDER BY id"
    )
    op.drop_table("old_media")
    op.create_index("ix_media_sha256", "media", ["sha256"])
    op.create_index("ix_media_footage_id", "media", ["footage_id"])
