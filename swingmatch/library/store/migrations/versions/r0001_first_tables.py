"""The first tables: consent, models, their media and tags."""

import secrets

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """From the revision before to this one."""
    settings = op.create_table(
        "settings",
        sa.Column("name", sa.String(64), primary_key=True),
        sa.Column("value", sa.Text, nullable=False),
    )
    op.bulk_insert(settings, [{"name": "salt", "value": secrets.token_hex(16)}])
    op.create_table(
        "consents",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("code", sa.String(64), nullable=False),
        sa.Column("agreed_on", sa.Date, nullable=False),
        *(
            sa.Column(name, sa.Boolean, nullable=False)
            for name in ("own_use", "show_students", "show_face", "shared_set")
        ),
        sa.Column("until", sa.Date),
        sa.Column("minor", sa.Boolean, nullable=False),
        sa.Column("guardian", sa.Text),
        sa.Column("paper_sha256", sa.String(64)),
        sa.Column("name", sa.Text),
        sa.UniqueConstraint("code", "agreed_on"),
    )
    op.create_index("ix_consents_code", "consents", ["code"])
    op.create_table(
        "withdrawals",
        sa.Column("code_hash", sa.String(64), primary_key=True),
        sa.Column("withdrawn_on", sa.Date, nullable=False),
    )
    op.create_table(
        "models",
        sa.Column("id", sa.String(64), primary_key=True),
        sa.Column("volunteer", sa.String(64), nullable=False),
        sa.Column("label", sa.Text, nullable=False),
        sa.Column("stroke", sa.String(64), nullable=False),
        sa.Column("hand", sa.String(8), nullable=False),
        sa.Column("generated", sa.Boolean, nullable=False),
        sa.Column("licence", sa.Text, nullable=False),
        sa.Column("source", sa.Text, nullable=False),
        *(sa.Column(name, sa.Text) for name in ("stance", "grip", "take_back")),
        sa.Column("tempo", sa.Float),
        sa.Column("level", sa.Text, nullable=False),
        sa.Column("sex", sa.Text),
        sa.Column("stature", sa.Float),
        sa.Column("repeats", sa.Integer, nullable=False),
        sa.Column("searchable", sa.Boolean, nullable=False),
        sa.Column("facts", sa.JSON, nullable=False),
        sa.Column("added_at", sa.DateTime, nullable=False),
    )
    op.create_index("ix_models_volunteer", "models", ["volunteer"])
    op.create_index("ix_models_stroke", "models", ["stroke"])
    op.create_table(
        "tags",
        sa.Column(
            "model_id", sa.String(64), sa.ForeignKey("models.id", ondelete="CASCADE"), primary_key=True
        ),
        sa.Column("tag", sa.String(200), primary_key=True),
    )
    op.create_index("ix_tags_tag", "tags", ["tag"])
    op.create_table(
        "media",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("model_id", sa.String(64), sa.ForeignKey("models.id", ondelete="CASCADE"), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("size", sa.Integer, nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.UniqueConstraint("model_id", "name"),
    )
    op.create_index("ix_media_sha256", "media", ["sha256"])
