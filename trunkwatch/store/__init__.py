"""The records at rest: the only SQL of the project."""

from trunkwatch.store.store import Changed, Outcome, Store

__all__ = ["Changed", "Outcome", "Store"]
