"""Who may see the pages and act on them: people, their sessions, tokens of programs.

Kept in a small SQLite file of its own beside the journal, since copies of the journal are
handed to others. Passwords are kept as Argon2id hashes; sessions, links and tokens as the
SHA-256 of what their holder has, so that nobody who reads the file can act. What is handed
out holds 256 random bits: it needs no slow hash. Never logs.

References:
    [1] RFC 9106, Argon2 Memory-Hard Function, section 4: the parameters are the library's
        "low memory" choice of it (64 MiB, 3 passes, 4 lanes).
"""

import hashlib
import hmac
import os
import secrets
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from enum import IntEnum, StrEnum
from pathlib import Path
from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H

LINK_LASTS_MS: Final = 24 * MS_PER_H
IDLE_MS: Final = 30 * MS_PER_DAY
"""A session that nobody used for so long has ended (our choice)."""
LONGEST_MS: Final = 180 * MS_PER_DAY
"""No session lasts longer (our choice)."""
SHORTEST_PASSWORD: Final = 10
LONGEST_PASSWORD: Final = 200
LONGEST_NAME: Final = 60
_BUSY_S: Final = 5.0
_VERSION: Final = 1
_HASHER: Final = PasswordHasher()
_ONE_AT_A_TIME: Final = threading.Lock()
"""A hash takes 64 MiB: many at once would take the watch's own memory."""

_TABLES: Final = """
CREATE TABLE person (
    name TEXT PRIMARY KEY NOT NULL, role INTEGER NOT NULL, password TEXT NOT NULL,
    made_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE session (
    digest TEXT PRIMARY KEY NOT NULL,
    person TEXT NOT NULL REFERENCES person (name) ON DELETE CASCADE,
    made_ms INTEGER NOT NULL, used_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE link (
    digest TEXT PRIMARY KEY NOT NULL, name TEXT NOT NULL, role INTEGER NOT NULL,
    ends_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE token (
    digest TEXT PRIMARY KEY NOT NULL, name TEXT NOT NULL UNIQUE, scopes TEXT NOT NULL,
    made_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
"""


class PeopleError(Exception):
    """What was asked for cannot be done; the text says why, and what helps."""


class Role(IntEnum):
    """What somebody may do; each may do what those before it may."""

    LOOK = 1
    ACT = 2
    SET_UP = 3

    @property
    def word(self) -> str:
        """The role as people write it."""
        return self.name.lower().replace("_", "-")


class TokenScope(StrEnum):
    """What a program may do."""

    READ = "read"
    METRICS = "metrics"


ROLES: Final = {role.word: role for role in Role}


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who may sign in."""

    name: str
    role: Role


@dataclass(frozen=True, slots=True)
class Invitation:
    """For whom a one-time link was made; an empty name is theirs to choose."""

    name: str
    role: Role


def people_path(journal_path: Path) -> Path:
    """Return where the people of a journal's pages are kept."""
    return journal_path.with_name(journal_path.name + ".people")


def digest_of(secret: str) -> str:
    """Return under what a random secret is kept."""
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()


class People:
    """The people of one shop. For any thread: each question has a connection of its own.

    Args:
        path: The file; made where there is none, for its owner alone to read.

    Raises:
        PeopleError: By every method, if the file cannot be used.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        with self._connection():
            pass

    @contextmanager
    def _connection(self) -> Iterator[sqlite3.Connection]:
        try:
            if not self._path.exists():
                os.close(os.open(self._path, os.O_CREAT | os.O_RDWR, 0o600))
            with closing(
                sqlite3.connect(self._path, timeout=_BUSY_S, isolation_level=None)
            ) as connection:
                connection.execute("PRAGMA foreign_keys = ON")
                connection.execute("PRAGMA trusted_schema = OFF")
                self._make_tables(connection)
                yield connection
        except (OSError, sqlite3.Error) as error:
            raise PeopleError(
                f"{self._path}: the people who may sign in cannot be read or written ({error}); "
                "see that the folder can be written and the file is sound"
            ) from None

    def _make_tables(self, connection: sqlite3.Connection) -> None:
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        if version == 0:
            connection.execute("BEGIN IMMEDIATE")
            if connection.execute("PRAGMA user_version").fetchone()[0] == 0:
                for statement in _TABLES.split(";\n"):
                    connection.execute(statement)
                connection.execute(f"PRAGMA user_version = {_VERSION}")
            connection.execute("COMMIT")
        elif version != _VERSION:
            raise PeopleError(
                f"{self._path}: has version {version}, expected {_VERSION}; "
                "it belongs to a newer rimewatch"
            )

    # --- people ---------------------------------------------------------------------------

    def everybody(self) -> list[Person]:
        """Return everybody who may sign in, by name."""
        with self._connection() as connection:
            rows = connection.execute("SELECT name, role FROM person ORDER BY name").fetchall()
        return [Person(name, Role(role)) for name, role in rows]

    def invite(self, name: str, role: Role, now_ms: int) -> str:
        """Return the secret of a one-time link under which somebody sets a password.

        An earlier link for the same name is void.

        Args:
            name: Who; empty: whoever opens the link says so.
            role: What they may do.
            now_ms: The present instant.
        """
        if name:
            check_name(name)
        secret = secrets.token_urlsafe(32)
        with self._connection() as connection:
            connection.execute("DELETE FROM link WHERE name = ? OR ends_ms <= ?", (name, now_ms))
            connection.execute(
                "INSERT INTO link (digest, name, role, ends_ms) VALUES (?, ?, ?, ?)",
                (digest_of(secret), name, int(role), now_ms + LINK_LASTS_MS),
            )
        return secret

    def invitation(self, secret: str, now_ms: int) -> Invitation | None:
        """Return for whom a link was made; None: it is used, void or over."""
        with self._connection() as connection:
            row = connection.execute(
                "SELECT name, role FROM link WHERE digest = ? AND ends_ms > ?",
                (digest_of(secret), now_ms),
            ).fetchone()
        return None if row is None else Invitation(row[0], Role(row[1]))

    def accept(self, secret: str, name: str, password: str, now_ms: int) -> Person | None:
        """Let somebody set their password by a link, once; None: the link serves no more.

        Somebody who is known already gets the new password and the link's role, and every
        session of theirs ends.

        Raises:
            PeopleError: If the name or the password will not do, or the name is taken.
        """
        check_password(password)
        with _ONE_AT_A_TIME:
            hashed = _HASHER.hash(password)
        with self._connection() as connection:
            connection.execute("BEGIN IMMEDIATE")
            row = connection.execute(
                "SELECT name, role FROM link WHERE digest = ? AND ends_ms > ?",
                (digest_of(secret), now_ms),
            ).fetchone()
            if row is None:
                connection.execute("ROLLBACK")
                return None
            own = row[0] or check_name(name)
            if (
                not row[0]
                and connection.execute("SELECT 1 FROM person WHERE name = ?", (own,)).fetchone()
            ):
                connection.execute("ROLLBACK")
                raise PeopleError(f'there is a "{own}" already; choose another name')
            connection.execute(
                "INSERT INTO person (name, role, password, made_ms) VALUES (?, ?, ?, ?)"
                " ON CONFLICT (name) DO UPDATE SET role = excluded.role,"
                " password = excluded.password",
                (own, row[1], hashed, now_ms),
            )
            connection.execute("DELETE FROM session WHERE person = ?", (own,))
            connection.execute("DELETE FROM link WHERE digest = ?", (digest_of(secret),))
            connection.execute("COMMIT")
        return Person(own, Role(row[1]))

    def invitations(self, now_ms: int) -> list[tuple[Invitation, int]]:
        """Return the links that still serve, by name, and when each ends."""
        with self._connection() as connection:
            rows = connection.execute(
                "SELECT name, role, ends_ms FROM link WHERE ends_ms > ? ORDER BY name", (now_ms,)
            ).fetchall()
        return [(Invitation(name, Role(role)), ends_ms) for name, role, ends_ms in rows]

    def withdraw_invitation(self, name: str) -> bool:
        """Make the links for a name void. False: there is none."""
        with self._connection() as connection:
            return bool(connection.execute("DELETE FROM link WHERE name = ?", (name,)).rowcount)

    def give_role(self, name: str, role: Role) -> bool:
        """Give somebody a role, in the sessions they have too. False: nobody has that name.

        Raises:
            PeopleError: If nobody who may set up would be left.
        """
        with self._leaving_somebody() as connection:
            changed = connection.execute(
                "UPDATE person SET role = ? WHERE name = ?", (int(role), name)
            )
            return bool(changed.rowcount)

    def dismiss(self, name: str) -> bool:
        """Remove somebody, as :meth:`remove` does, unless nobody who may set up would be left.

        Raises:
            PeopleError: If so.
        """
        with self._leaving_somebody() as connection:
            connection.execute("DELETE FROM link WHERE name = ?", (name,))
            return bool(connection.execute("DELETE FROM person WHERE name = ?", (name,)).rowcount)

    @contextmanager
    def _leaving_somebody(self) -> Iterator[sqlite3.Connection]:
        """Change people as one; undone if nobody is left who may set up."""
        with self._connection() as connection:
            connection.execute("BEGIN IMMEDIATE")
            yield connection
            left = connection.execute(
                "SELECT 1 FROM person WHERE role >= ?", (int(Role.SET_UP),)
            ).fetchone()
            if left is None:
                connection.execute("ROLLBACK")
                raise PeopleError(
                    "nobody who may set up would be left; give somebody else that role first"
                )
            connection.execute("COMMIT")

    def remove(self, name: str) -> bool:
        """Let somebody sign in no more; their sessions end. False: nobody has that name."""
        with self._connection() as connection:
            connection.execute("DELETE FROM link WHERE name = ?", (name,))
            return bool(connection.execute("DELETE FROM person WHERE name = ?", (name,)).rowcount)

    def checked(self, name: str, password: str) -> Person | None:
        """Return who signs in; None: no such name, or not their password.

        Both take as long, so that nobody learns who is known.
        """
        with self._connection() as connection:
            row = connection.execute(
                "SELECT name, role, password FROM person WHERE name = ?", (name.strip(),)
            ).fetchone()
        hashed = _nobodys_hash() if row is None else row[2]
        with _ONE_AT_A_TIME:
            try:
                _HASHER.verify(hashed, password[:LONGEST_PASSWORD])
            except (VerificationError, InvalidHashError):
                return None
        return None if row is None else Person(row[0], Role(row[1]))

    def browser_proof(self, name: str, number: str) -> str:
        """Return what proves that somebody has signed in with a browser; empty: no such person.

        It hangs on their password's hash, so it is void with a new password, and nothing is kept.

        Args:
            name: Who.
            number: The browser's number, drawn at random when they signed in.
        """
        with self._connection() as connection:
            row = connection.execute(
                "SELECT password FROM person WHERE name = ?", (name.strip(),)
            ).fetchone()
        if row is None:
            return ""
        return hmac.digest(row[0].encode(), f"browser {number}".encode(), "sha256").hex()

    # --- sessions -------------------------------------------------------------------------

    def begin_session(self, person: Person, now_ms: int) -> str:
        """Return the secret of a new session; those that are over are forgotten."""
        secret = secrets.token_urlsafe(32)
        with self._connection() as connection:
            connection.execute(
                "DELETE FROM session WHERE used_ms <= ? OR made_ms <= ?",
                (now_ms - IDLE_MS, now_ms - LONGEST_MS),
            )
            connection.execute(
                "INSERT INTO session (digest, person, made_ms, used_ms) VALUES (?, ?, ?, ?)",
                (digest_of(secret), person.name, now_ms, now_ms),
            )
        return secret

    def of_session(self, secret: str, now_ms: int) -> Person | None:
        """Return whose session it is; None: it is nobody's, or over."""
        digest = digest_of(secret)
        with self._connection() as connection:
            row = connection.execute(
                "SELECT person.name, person.role, session.used_ms FROM session"
                " JOIN person ON person.name = session.person"
                " WHERE digest = ? AND session.used_ms > ? AND session.made_ms > ?",
                (digest, now_ms - IDLE_MS, now_ms - LONGEST_MS),
            ).fetchone()
            if row is not None and now_ms - row[2] > MS_PER_H:
                connection.execute(
                    "UPDATE session SET used_ms = ? WHERE digest = ?", (now_ms, digest)
                )
        return None if row is None else Person(row[0], Role(row[1]))

    def sessions(self, now_ms: int) -> dict[str, tuple[int, int]]:
        """Return how many sessions each person has, and when one was used last (to the hour)."""
        with self._connection() as connection:
            rows = connection.execute(
                "SELECT person, count(*), max(used_ms) FROM session"
                " WHERE used_ms > ? AND made_ms > ? GROUP BY person",
                (now_ms - IDLE_MS, now_ms - LONGEST_MS),
            ).fetchall()
        return {name: (count, used_ms) for name, count, used_ms in rows}

    def end_sessions(self, name: str) -> bool:
        """End every session of a person. False: there is none."""
        with self._connection() as connection:
            ended = connection.execute("DELETE FROM session WHERE person = ?", (name,))
            return bool(ended.rowcount)

    def end_session(self, secret: str) -> None:
        """End a session."""
        with self._connection() as connection:
            connection.execute("DELETE FROM session WHERE digest = ?", (digest_of(secret),))

    # --- programs -------------------------------------------------------------------------

    def add_token(self, name: str, scopes: frozenset[TokenScope], now_ms: int) -> str:
        """Return the secret of a program's token; one of the same name before it is void."""
        check_name(name)
        secret = secrets.token_urlsafe(32)
        with self._connection() as connection:
            connection.execute("DELETE FROM token WHERE name = ?", (name,))
            connection.execute(
                "INSERT INTO token (digest, name, scopes, made_ms) VALUES (?, ?, ?, ?)",
                (digest_of(secret), name, " ".join(sorted(scopes)), now_ms),
            )
        return secret

    def scopes_of(self, secret: str) -> frozenset[TokenScope]:
        """Return what a token allows; nothing if there is no such token."""
        with self._connection() as connection:
            row = connection.execute(
                "SELECT scopes FROM token WHERE digest = ?", (digest_of(secret),)
            ).fetchone()
        return frozenset() if row is None else frozenset(TokenScope(s) for s in row[0].split())

    def tokens(self) -> list[tuple[str, str]]:
        """Return each token's name and scopes, by name."""
        with self._connection() as connection:
            return connection.execute("SELECT name, scopes FROM token ORDER BY name").fetchall()

    def remove_token(self, name: str) -> bool:
        """Make a program's token void. False: there is none of that name."""
        with self._connection() as connection:
            return bool(connection.execute("DELETE FROM token WHERE name = ?", (name,)).rowcount)


def check_name(name: str) -> str:
    """Return a name without blanks around it.

    Raises:
        PeopleError: If it is empty, too long, or cannot be printed.
    """
    own = name.strip()
    if not own or len(own) > LONGEST_NAME or not own.isprintable():
        raise PeopleError(
            f"the name has {len(own)} characters; expected 1 to {LONGEST_NAME} that can be printed"
        )
    return own


def check_password(password: str) -> None:
    """Refuse a password that is too short to hold, or too long to be one.

    Raises:
        PeopleError: With what would do; never with the password.
    """
    if not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
        raise PeopleError(
            f"the password has {len(password)} characters; expected {SHORTEST_PASSWORD} to "
            f"{LONGEST_PASSWORD}: three or four words do well"
        )


_KEPT: dict[str, str] = {}


def _nobodys_hash() -> str:
    """Return a hash that no password fits, of the same cost as a person's."""
    if not _KEPT:
        with _ONE_AT_A_TIME:
            _KEPT["hash"] = _HASHER.hash(secrets.token_urlsafe(32))
    return _KEPT["hash"]
