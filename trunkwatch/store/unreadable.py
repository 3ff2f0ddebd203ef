"""What comes of asking a database whose file is damaged."""

import sqlite3

__all__ = ["UNREADABLE"]

#: The message of a damaged database may quote bytes that are no text: then it is no error of the database at all.
UNREADABLE: tuple[type[Exception], ...] = (sqlite3.DatabaseError, UnicodeDecodeError)
