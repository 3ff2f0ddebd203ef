"""Block cards: what leaves a grower in place of the records, and tables over many growers that expose nobody."""

from trunkwatch.cards.folder import CardFolder, read_folder

__all__ = ["CardFolder", "read_folder"]
