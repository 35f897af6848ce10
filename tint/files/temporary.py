"""Temporary names beside a place, who works under them, and what becomes of them when a tint is killed.

Where a system cannot swap two folders in one step, the old one stands aside for a moment; a tint killed in that moment leaves it
there, and the next one that writes to its place puts it back first. What else a killed tint leaves under a temporary name, the
next one that writes to the same place removes.
"""

from __future__ import annotations

import hashlib
import os
import re
import secrets
import shutil
import stat
import time
from contextlib import suppress
from functools import lru_cache
from pathlib import Path

TEMPORARY = ".tint."  # how the names of files and folders begin that have not taken their place yet
TEMPORARY_NAME = re.compile(r"\.tint\.[0-9a-f]{16}")  # the whole of such a name: what people call .tint.something is theirs
# A temporary name younger than this is left alone: it may not be locked yet, waits for others that belong to it, or is another
# computer's on a disk they share, whose locks do not reach here
SETTLED_S = 3600.0


def temporary_beside(path: Path) -> str:
    """Name beside `path` that nothing has."""
    return str(path.with_name(f"{TEMPORARY}{secrets.token_hex(8)}"))


def lock(handle: int) -> bool | None:
    """Whether an open file or folder is now this process's own, None where the system has no locks.

    The system lets go of it when the process ends, however.
    """
    try:
        import fcntl

        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except (ImportError, OSError):
        return None
    return True


@lru_cache(maxsize=256)  # once per folder and process: a batch writes thousands of times to one
def sweep(folder: str) -> None:
    """Removes what a killed tint left in a folder under a temporary name. One that still works holds a lock on its own."""
    now = time.time()
    with suppress(OSError):
        for item in [entry for entry in os.scandir(folder) if TEMPORARY_NAME.fullmatch(entry.name)]:
            with suppress(OSError):
                status = item.stat(follow_symlinks=False)
                ours = stat.S_ISREG(status.st_mode) or stat.S_ISDIR(status.st_mode)
                if not ours or now - status.st_mtime < SETTLED_S:
                    continue
                handle = os.open(item.path, os.O_RDONLY)
                try:
                    if lock(handle):
                        shutil.rmtree(item.path) if item.is_dir() else os.unlink(item.path)
                finally:
                    os.close(handle)


def aside(path: Path) -> Path:
    """Where a folder stands while its successor takes its place: a name that is not swept, and is found again by the folder's own."""
    return path.with_name(f"{TEMPORARY}{hashlib.sha256(os.fsencode(path.name)).hexdigest()[:16]}.old")


def put_back(path: Path) -> bool:
    """Whether a folder that stood aside when a run was killed is back in its place."""
    with suppress(OSError, ValueError):
        if os.path.lexists(path) or not os.path.lexists(old := aside(path)):
            return False
        handle = None
        try:
            with suppress(OSError):
                handle = os.open(old, os.O_RDONLY)
            if handle is None or lock(handle) is not False:  # else its successor takes its place this moment
                os.rename(old, path)
                return True
        finally:
            if handle is not None:
                os.close(handle)
    return False


def left_aside(path: Path) -> str:
    """Where the folder of a missing file stands aside since a run was killed, as a message goes on; "" where it does not."""
    with suppress(OSError, ValueError):
        for place in (path.absolute(), path.absolute().parent):
            if not os.path.lexists(place) and os.path.lexists(old := aside(place)):
                return f": a run was stopped while replacing {place.name}, whose old content is in {old}. Rename that to {place.name}"
    return ""
