"""Labels of blocks as parts of file names, for the verbs that write a file a block."""

from trunkwatch.vineyard.file_stems import file_stems

__all__ = ["file_stems"]
