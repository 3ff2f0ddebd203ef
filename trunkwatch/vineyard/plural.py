"""A number with its noun, as people say it: 1 past winter, 10 past winters."""

__all__ = ["number_of"]


def number_of(many: int, noun: str) -> str:
    """Return a number and a noun that takes an s.

    Parameters
    ----------
    many : int
    noun : str
        In the singular; the last word takes the s.
    """
    return f"{many:,} {noun}{'' if many == 1 else 's'}"
