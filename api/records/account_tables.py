"""The tables of accounts. Passwords and tokens stand in them as hashes alone."""

from __future__ import annotations

from sqlalchemy import BigInteger, Boolean, Column, Index, Integer, String, Table, Text

from api.records.tables import METADATA

accounts = Table(
    "accounts",
    METADATA,
    Column("person", String(40), primary_key=True),
    Column("role", String(20), nullable=False),
    Column("acts_for", Text),
    Column("password_hash", Text),
    Column("made_ms", BigInteger, nullable=False),
    Column("changed_ms", BigInteger, nullable=False),
    Column("disabled_ms", BigInteger),
)

account_trail = Table(
    "account_trail",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("at_ms", BigInteger, nullable=False),
    Column("by", String(40), nullable=False),
    Column("person", String(40), nullable=False, index=True),
    Column("done", String(20), nullable=False),
    Column("details", Text, nullable=False),
)

sign_in_sessions = Table(
    "sign_in_sessions",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("hash", String(64), nullable=False, unique=True),
    Column("person", String(40), nullable=False, index=True),
    Column("made_ms", BigInteger, nullable=False),
    Column("seen_ms", BigInteger, nullable=False),
    Column("expires_ms", BigInteger, nullable=False),
    Column("address", String(64), nullable=False),
    Column("browser", String(200), nullable=False),
)

sign_in_attempts = Table(
    "sign_in_attempts",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("at_ms", BigInteger, nullable=False, index=True),
    Column("name", String(64), nullable=False),
    Column("address", String(64), nullable=False),
    Column("device", String(64)),
    Column("good", Boolean, nullable=False),
    Index("ix_sign_in_attempts_name_at_ms", "name", "at_ms"),
    Index("ix_sign_in_attempts_address_at_ms", "address", "at_ms"),
)

known_devices = Table(
    "known_devices",
    METADATA,
    Column("hash", String(64), primary_key=True),
    Column("person", String(40), nullable=False),
    Column("made_ms", BigInteger, nullable=False),
)

personal_tokens = Table(
    "personal_tokens",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("hash", String(64), nullable=False, unique=True),
    Column("person", String(40), nullable=False, index=True),
    Column("name", String(60), nullable=False),
    Column("role", String(20), nullable=False),
    Column("made_ms", BigInteger, nullable=False),
    Column("expires_ms", BigInteger),
    Column("used_ms", BigInteger),
    Column("revoked_ms", BigInteger),
)

invitations = Table(
    "invitations",
    METADATA,
    Column("hash", String(64), primary_key=True),
    Column("person", String(40), nullable=False, index=True),
    Column("made_ms", BigInteger, nullable=False),
    Column("expires_ms", BigInteger, nullable=False),
    Column("used_ms", BigInteger),
)
