"""The tables of nodes: who is alive, who watches which house, and how far each house was watched.

All instants in `nodes` and `house_leases` are by the database's clock, which all nodes share.
"""

from __future__ import annotations

from sqlalchemy import BigInteger, Boolean, Column, LargeBinary, String, Table

from api.records.tables import METADATA

nodes = Table(
    "nodes",
    METADATA,
    Column("name", String(40), primary_key=True),
    Column("folder", String(40), nullable=False),
    Column("began_ms", BigInteger, nullable=False),
    Column("seen_ms", BigInteger, nullable=False),
    Column("ended_ms", BigInteger),
    Column("watches", Boolean, nullable=False),
    Column("unfit", String(20), nullable=False),
    Column("base", String(64), nullable=False),
    Column("base_since_ms", BigInteger, nullable=False),
)

house_leases = Table(
    "house_leases",
    METADATA,
    Column("house", String(40), primary_key=True),
    Column("holder", String(40), nullable=False),
    Column("term", BigInteger, nullable=False),
    Column("since_ms", BigInteger, nullable=False),
    Column("until_ms", BigInteger, nullable=False),
)

house_positions = Table(
    "house_positions",
    METADATA,
    Column("house", String(40), primary_key=True),
    Column("began_minute", BigInteger, nullable=False),
    Column("next_minute", BigInteger, nullable=False),
    Column("revision", String(64), nullable=False),
    Column("state", LargeBinary, nullable=False),
    Column("folder", String(40), nullable=False),
    Column("sequence", BigInteger, nullable=False),
    Column("saved_ms", BigInteger, nullable=False),
)

house_milestones = Table(
    "house_milestones",
    METADATA,
    Column("next_minute", BigInteger, primary_key=True, autoincrement=False),
    Column("house", String(40), primary_key=True),
    Column("state", LargeBinary, nullable=False),
)

shared_keys = Table(
    "shared_keys",
    METADATA,
    Column("name", String(40), primary_key=True),
    Column("key", LargeBinary, nullable=False),
)
