"""A lock that goes with the process that holds it: of the private folder of a desk, and of a folder of kept results."""

__all__ = ["is_locked_now"]


def is_locked_now(handle: int) -> bool:
    """Lock an open file unless another process has; return whether it is ours now.

    Parameters
    ----------
    handle : int
        Of a file open for writing; the lock goes when it is closed, or with the process.
    """
    try:
        import fcntl
    except ImportError:  # pragma: no cover - Windows
        import msvcrt

        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        except OSError:
            return False
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
