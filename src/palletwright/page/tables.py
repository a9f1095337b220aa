"""The store's tables, and how an older file is brought up to date."""

from __future__ import annotations

from sqlalchemy import Connection, ForeignKey, LargeBinary, String, Text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from palletwright.errors import Fault, InputError


class Base(DeclarativeBase):
    """Root of the tables."""


class Setting(Base):
    """What the store itself remembers, such as the writing key."""

    __tablename__ = "setting"
    name: Mapped[str] = mapped_column(String(60), primary_key=True)
    value: Mapped[str] = mapped_column(Text)


class PartRow(Base):
    """One STEP file by its content; `info` is JSON, `glb` the picture."""

    __tablename__ = "part"
    id: Mapped[str] = mapped_column(String(64), primary_key=True)
    name: Mapped[str] = mapped_column(String(200))
    step: Mapped[bytes] = mapped_column(LargeBinary)
    glb: Mapped[bytes] = mapped_column(LargeBinary)
    info: Mapped[str] = mapped_column(Text)


class ShopRow(Base):
    """A shop as its TOML files: `files` is JSON, file name to text; the first is the one that includes the others."""

    __tablename__ = "shop"
    id: Mapped[str] = mapped_column(String(16), primary_key=True)
    name: Mapped[str] = mapped_column(String(200))
    files: Mapped[str] = mapped_column(Text)
    changed: Mapped[str] = mapped_column(String(32))
    revision: Mapped[int] = mapped_column(default=0)


class JobRow(Base):
    """A job while it is being written: `draft` is JSON."""

    __tablename__ = "job"
    id: Mapped[str] = mapped_column(String(16), primary_key=True)
    name: Mapped[str] = mapped_column(String(200))
    draft: Mapped[str] = mapped_column(Text)
    revision: Mapped[int] = mapped_column(default=0)
    created: Mapped[str] = mapped_column(String(32))
    changed: Mapped[str] = mapped_column(String(32))
    part: Mapped[str | None] = mapped_column(ForeignKey("part.id"), nullable=True)
    shop: Mapped[str | None] = mapped_column(ForeignKey("shop.id"), nullable=True)


class RunRow(Base):
    """One planning run; `state`: running, done, failed, stopped (by hand), interrupted (the server ended)."""

    __tablename__ = "run"
    id: Mapped[str] = mapped_column(String(16), primary_key=True)
    job: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), index=True)
    state: Mapped[str] = mapped_column(String(16))
    started: Mapped[str] = mapped_column(String(32))
    ended: Mapped[str] = mapped_column(String(32), default="")
    message: Mapped[str] = mapped_column(Text, default="")
    plan: Mapped[str] = mapped_column(String(16), default="")


class PlanRow(Base):
    """A plan as its compressed JSON. `foreign`: it came in with an archive and counts as unchecked until it is."""

    __tablename__ = "plan"
    id: Mapped[str] = mapped_column(String(16), primary_key=True)
    job: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), index=True)
    made: Mapped[str] = mapped_column(String(32))
    title: Mapped[str] = mapped_column(Text)
    data: Mapped[bytes] = mapped_column(LargeBinary)
    foreign: Mapped[bool] = mapped_column(default=False, server_default="0")


class EditRow(Base):
    """One step of the changes to a way, in order; `result` is the way's compressed JSON once every check passed.

    `terms` is JSON: what the step asks of job and shop beyond the plan's own; `locked` was used up to version 2. Step 0
    is the way as planned: its row is there only where it was checked here, because it is foreign or had no picture.
    """

    __tablename__ = "edit"
    plan: Mapped[str] = mapped_column(ForeignKey("plan.id", ondelete="CASCADE"), primary_key=True)
    way: Mapped[int] = mapped_column(primary_key=True)
    step: Mapped[int] = mapped_column(primary_key=True)
    what: Mapped[str] = mapped_column(Text)
    design: Mapped[str] = mapped_column(Text)
    locked: Mapped[str] = mapped_column(Text, default="[]")
    verdict: Mapped[str] = mapped_column(Text, default="")
    result: Mapped[bytes | None] = mapped_column(LargeBinary, nullable=True)
    terms: Mapped[str] = mapped_column(Text, default="{}", server_default="{}")


class HeadRow(Base):
    """At which step of its changes a way stands: 0 as planned. `locked` is JSON: stations that shall stay."""

    __tablename__ = "head"
    plan: Mapped[str] = mapped_column(ForeignKey("plan.id", ondelete="CASCADE"), primary_key=True)
    way: Mapped[int] = mapped_column(primary_key=True)
    step: Mapped[int] = mapped_column(default=0)
    locked: Mapped[str] = mapped_column(Text, default="[]", server_default="[]")


class TickRow(Base):
    """What somebody ticked or wrote down at the machine."""

    __tablename__ = "tick"
    plan: Mapped[str] = mapped_column(ForeignKey("plan.id", ondelete="CASCADE"), primary_key=True)
    way: Mapped[int] = mapped_column(primary_key=True)
    item: Mapped[str] = mapped_column(String(120), primary_key=True)
    value: Mapped[str] = mapped_column(Text)
    at: Mapped[str] = mapped_column(String(32))


class PastRow(Base):
    """What happened to a job, for its history."""

    __tablename__ = "past"
    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    job: Mapped[str] = mapped_column(ForeignKey("job.id", ondelete="CASCADE"), index=True)
    at: Mapped[str] = mapped_column(String(32))
    what: Mapped[str] = mapped_column(Text)


def _first(connection: Connection) -> None:
    """Version 1: every table but those of later steps."""
    later = {"tick"}
    Base.metadata.create_all(connection, tables=[t for t in Base.metadata.sorted_tables if t.name not in later])


def _second(connection: Connection) -> None:
    """Version 2: ticks and measured values at the machine."""
    Base.metadata.create_all(connection, tables=[Base.metadata.tables["tick"]])


def _third(connection: Connection) -> None:
    """Version 3: terms of a change, stations that are locked, and plans that came in from elsewhere."""
    new = (
        ("edit", "terms", "TEXT NOT NULL DEFAULT '{}'"),
        ("head", "locked", "TEXT NOT NULL DEFAULT '[]'"),
        ("plan", "foreign", "BOOLEAN NOT NULL DEFAULT 0"),
    )
    for table, name, kind in new:
        there = connection.exec_driver_sql(f"SELECT 1 FROM pragma_table_info('{table}') WHERE name = '{name}'").first()
        if there is None:
            connection.exec_driver_sql(f'ALTER TABLE {table} ADD COLUMN "{name}" {kind}')
    own = "SELECT e.locked FROM edit e WHERE e.plan = head.plan AND e.way = head.way AND e.step = head.step"
    connection.exec_driver_sql(f"UPDATE head SET locked = coalesce(({own}), '[]')")


STEPS = (_first, _second, _third)
"""Each brings the file from the version before to the next; a step that was published is never changed."""


def bring_up_to_date(connection: Connection, file: str) -> None:
    """Run the steps that the file hasn't seen, all or none.

    Raises InputError for a file that a newer program wrote.
    """
    version = int(connection.exec_driver_sql("PRAGMA user_version").scalar_one())
    if version > len(STEPS):
        problem = f"was written by a newer palletwright (its version is {version})"
        raise InputError([Fault(file, "user_version", str(version), problem, f"up to {len(STEPS)}")])
    for number, step in enumerate(STEPS[version:], start=version + 1):
        step(connection)
        connection.exec_driver_sql(f"PRAGMA user_version = {number}")
