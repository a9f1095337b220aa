"""One SQLite file with everything that the page keeps: opened, locked down to its owner, written ahead."""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import zlib
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

from sqlalchemy import Engine, create_engine, event, select, update
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import Session

from palletwright.errors import Fault, InputError
from palletwright.page.tables import Base, PastRow, RunRow, Setting, bring_up_to_date

Row = TypeVar("Row", bound=Base)

BUSY_MS = 10_000
"""ms that a writer waits for another one."""


class NotThere(LookupError):
    """What was asked for isn't in the store."""


def default_file() -> Path:
    """Where the store lies where nobody names a file."""
    import platformdirs

    return Path(platformdirs.user_data_dir("palletwright", appauthor=False)) / "jobs.sqlite"


class Store:
    """The open file; every `session()` is one transaction, kept whole or not at all."""

    def __init__(self, file: Path) -> None:
        self.file = file
        file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with contextlib.suppress(FileExistsError):
            os.close(os.open(file, os.O_CREAT | os.O_EXCL, 0o600))
        self.engine: Engine = create_engine(f"sqlite:///{file}", connect_args={"timeout": BUSY_MS / 1000})
        event.listen(self.engine, "connect", _prepared)
        try:
            with self.engine.begin() as connection:
                connection.exec_driver_sql("BEGIN IMMEDIATE")
                bring_up_to_date(connection, str(file))
        except DatabaseError as error:
            problem = f"isn't a store of palletwright: {error.orig}"
            raise InputError([Fault(str(file), "", "", problem, "a file that `serve` made")]) from error

    @contextlib.contextmanager
    def session(self) -> Iterator[Session]:
        with Session(self.engine, expire_on_commit=False) as session, session.begin():
            yield session

    def close(self) -> None:
        self.engine.dispose()

    def key(self) -> str:
        """The key that a page needs for writing; the same after a restart, so that open windows go on."""
        with self.session() as session:
            found = session.get(Setting, "key")
            if found is None:
                found = Setting(name="key", value=secrets.token_urlsafe(24))
                session.add(found)
            return found.value

    def end_runs(self) -> None:
        """Runs that a killed server left open are said to be interrupted."""
        with self.session() as session:
            text = "The program was stopped while it planned. Nothing that was entered is lost: plan again."
            session.execute(
                update(RunRow).where(RunRow.state == "running").values(state="interrupted", ended=now(), message=text)
            )


def _prepared(connection: Any, record: Any) -> None:
    """SQLite's manners for every new connection; transactions are begun by us, not by the driver's guess."""
    cursor = connection.cursor()
    cursor.execute("PRAGMA journal_mode = WAL")
    cursor.execute("PRAGMA synchronous = NORMAL")
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
    cursor.close()


def now() -> str:
    """The time as ISO 8601 in UTC."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def new_id() -> str:
    """An id that nobody guesses or types."""
    return secrets.token_hex(8)


def found(session: Session, kind: type[Row], key: Any) -> Row:
    """The row of that key. Raises NotThere."""
    row = session.get(kind, key)
    if row is None:
        raise NotThere(f"there is no {kind.__tablename__} {key}")
    return row


def noted(session: Session, job: str, what: str) -> None:
    """Add a line to a job's history."""
    session.add(PastRow(job=job, at=now(), what=what))


def past(session: Session, job: str) -> list[dict[str, str]]:
    """A job's history, the latest first."""
    rows = session.scalars(select(PastRow).where(PastRow.job == job).order_by(PastRow.id.desc()).limit(200))
    return [{"at": r.at, "what": r.what} for r in rows]


def packed(data: Any) -> bytes:
    """Plain data as compressed JSON."""
    return zlib.compress(json.dumps(data, ensure_ascii=False, separators=(",", ":")).encode(), 6)


def unpacked(blob: bytes) -> Any:
    """What `packed` made."""
    return json.loads(zlib.decompress(blob))
