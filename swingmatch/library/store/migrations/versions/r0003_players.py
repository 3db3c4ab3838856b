"""Players, what was said of them, and what the coach decided."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """From the revision before to this one."""
    op.create_table(
        "players",
        sa.Column("code", sa.String(64), primary_key=True),
        sa.Column("name", sa.Text),
        sa.Column("hand", sa.String(8)),
        sa.Column("notes", sa.Text, nullable=False),
        sa.Column("minor", sa.Boolean, nullable=False),
        sa.Column("guardian", sa.Text),
        sa.Column("keep_until", sa.Date, nullable=False),
        sa.Column("added_at", sa.DateTime, nullable=False),
    )
    op.create_index("ix_players_keep_until", "players", ["keep_until"])
    op.create_table(
        "reviews",
        sa.Column("id", sa.String(64), primary_key=True),
        sa.Column("player", sa.String(64), sa.ForeignKey("players.code", ondelete="CASCADE"), nullable=False),
        sa.Column("clip", sa.Text, nullable=False),
        sa.Column("clip_sha256", sa.String(64), nullable=False),
        sa.Column("filmed_on", sa.Date, nullable=False),
        sa.Column("date_known", sa.Boolean, nullable=False),
        sa.Column("reviewed_at", sa.DateTime, nullable=False),
        sa.Column("keep_until", sa.Date, nullable=False),
        sa.Column("stroke", sa.String(64), nullable=False),
        sa.Column("hand", sa.String(8), nullable=False),
        sa.Column("camera_side", sa.Text, nullable=False),
        sa.Column("azimuth", sa.Float),
        sa.Column("model", sa.Text, nullable=False),
        sa.Column("document", sa.JSON, nullable=False),
        sa.Column("numbers", sa.JSON, nullable=False),
        sa.UniqueConstraint("player", "stroke", "clip_sha256"),
    )
    for column in ("player", "clip_sha256", "keep_until", "stroke"):
        op.create_index(f"ix_reviews_{column}", "reviews", [column])
    op.create_table(
        "decisions",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("player", sa.String(64), sa.ForeignKey("players.code", ondelete="CASCADE"), nullable=False),
        sa.Column("review_id", sa.String(64), sa.ForeignKey("reviews.id", ondelete="CASCADE")),
        sa.Column("stroke", sa.String(64), nullable=False),
        sa.Column("fault", sa.String(200), nullable=False),
        sa.Column("action", sa.String(16), nullable=False),
        sa.Column("place_before", sa.Integer),
        sa.Column("place_after", sa.Integer),
        sa.Column("made_at", sa.DateTime, nullable=False),
    )
    for column in ("player", "review_id", "fault"):
        op.create_index(f"ix_decisions_{column}", "decisions", [column])
