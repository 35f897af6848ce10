"""How tint writes: a file or folder takes its place whole or not at all.

It is written beside its place under a temporary name, brought to the disk and renamed, so a crash leaves the old one or the new
one and never half of either. Nothing is overwritten unless `force` is set.
"""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from tint.errors import FileError
from tint.files.temporary import TEMPORARY_NAME, aside, lock, put_back, sweep, temporary_beside

LIST_NAME = ".tint"  # in every folder tint writes: its kind and its files, so that --force deletes nobody else's
FULL = {errno.ENOSPC, errno.EFBIG, getattr(errno, "EDQUOT", errno.ENOSPC)}  # of a disk
BARRED = {errno.EACCES, errno.EPERM, errno.EROFS}  # by rights or a disk that only gives
SYNCING = 8  # files brought to the disk at once: one by one costs a millisecond each, together a fifth (tests/bench)


def write_file(path: str | Path, content: str | bytes, *, force: bool = False, sync: bool = True) -> Path:
    """Path of the file, written whole.

    Parameters
    ----------
    sync : wait until it is on the disk; a batch of thousands does that once, and looks at sizes when it goes on

    Raises
    ------
    FileError
        The file exists and `force` is not set, a folder is in its place, or the place cannot be written.
    """
    write_files({path: content}, force=force, sync=sync)
    return Path(path)


def write_files(contents: Mapping[str | Path, str | bytes], *, force: bool = False, sync: bool = True) -> None:
    """Nothing; writes files that belong together, each whole, and none of them where one cannot be written.

    A kill in the moment between two renames may leave the first files new and the last old, all of them whole.

    Raises
    ------
    FileError
        As `write_file`.
    """
    staged: dict[Path, str] = {}
    copies: dict[Path, str] = {}  # of what is replaced, to be put back where a later file cannot take its place
    placed: list[Path] = []
    path = Path()
    try:
        for path, content in ((Path(name), content) for name, content in contents.items()):
            refuse_overwrite(path, force)
            staged[path] = _staged(path, content.encode("utf-8") if isinstance(content, str) else content, sync)
        for path in staged:
            refuse_overwrite(path, force)  # it may have appeared meanwhile
        for path in staged if len(staged) > 1 else ():
            if os.path.lexists(path):
                copies[path] = temporary_beside(path)
                shutil.copy(path, copies[path], follow_symlinks=False)
        for path, temporary in list(staged.items()):
            os.replace(temporary, path)
            placed.append(path)
            del staged[path]
        for folder in {path.parent for path in map(Path, contents)} if sync else ():
            _sync(folder)
    except (OSError, ValueError) as error:
        raise _cannot_write(path, error) from None
    finally:
        for path in placed if staged else ():
            try:
                os.replace(copies[path], path) if path in copies else path.unlink()
            except OSError:
                copies.pop(path, None)  # all that is left of the old one stays where it is
        for temporary in (*staged.values(), *copies.values()):
            Path(temporary).unlink(missing_ok=True)


def _staged(path: Path, data: bytes, sync: bool) -> str:
    """Temporary file beside `path` that holds the data, on the disk with `sync`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    sweep(str(path.parent))
    _refuse_name(path)
    temporary = temporary_beside(path)
    try:
        with open(temporary, "xb") as stream:
            lock(stream.fileno())
            stream.write(data)
            stream.flush()
            if sync:
                os.fsync(stream.fileno())
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    return temporary


def _refuse_name(path: Path) -> None:
    """Nothing; raises OSError where no file can have this name, before anything beside it is written."""
    with suppress(FileNotFoundError):
        os.lstat(path)


@contextmanager
def new_folder(path: str | Path, kind: str, *, force: bool = False, sync: bool = True) -> Iterator[Path]:
    """Temporary folder to fill; it takes its place at `path` only when the block ends without an error.

    Parameters
    ----------
    kind : what the folder holds, such as "job"; `force` replaces only a folder of the same kind
    sync : wait until all of it is on the disk, as `write_file` tells

    Raises
    ------
    FileError
        The folder exists and `force` is not set; it is not of this kind or holds a file tint did not write; it is the
        folder tint runs in; or the place cannot be written.
    """
    shown = Path(path)  # as it was typed
    path = shown.absolute()
    _refuse_folder(path, shown, kind, force)
    try:
        path = path.resolve()
        path.parent.mkdir(parents=True, exist_ok=True)
        sweep(str(path.parent))
        temporary = Path(temporary_beside(path))
        temporary.mkdir()
    except (OSError, ValueError) as error:
        raise _cannot_write(shown, error) from None
    handle = None
    try:
        with suppress(OSError):  # systems that do not open folders
            lock(handle := os.open(temporary, os.O_RDONLY))
        yield temporary
        names = sorted(item.relative_to(temporary).as_posix() for item in temporary.rglob("*"))
        (temporary / LIST_NAME).write_text("\n".join([f"tint {kind}", *names]) + "\n", encoding="utf-8")
        if sync:
            _sync_all(temporary)
        _refuse_folder(path, shown, kind, force)  # it may have appeared, or been added to, meanwhile
        _swap_in(temporary, path, force)
        if sync:
            _sync(path.parent)
    except (OSError, UnicodeEncodeError) as error:
        raise _cannot_write(shown, error) from None
    finally:
        shutil.rmtree(temporary, ignore_errors=True)
        if handle is not None:
            os.close(handle)


def _swap_in(new: Path, path: Path, force: bool) -> None:
    """`new` in the place of `path`; where that fails, `path` is as it was. What was there goes, or stands where `new` stood."""
    if not force or not path.exists():  # a folder that appeared this moment stays: nothing is renamed onto a full one
        os.rename(new, path)
        return
    if _exchange(new, path):
        return
    old = aside(path)
    if os.path.lexists(old):
        raise FileError(f"{old} is an earlier {path.name}: a run was stopped while replacing it. Move it away, then write again.")
    handle = None
    try:
        with suppress(OSError):  # systems that do not open folders
            lock(handle := os.open(path, os.O_RDONLY))  # so that nobody puts it back meanwhile
        os.rename(path, old)
        try:
            os.rename(new, path)
        except BaseException:
            with suppress(OSError):  # another's new one may stand there by now
                os.rename(old, path)
            raise
    finally:
        if handle is not None:
            os.close(handle)
    shutil.rmtree(old, ignore_errors=True)


def _exchange(one: Path, other: Path) -> bool:
    """Whether two paths changed places in one step, as Linux can: no moment, and no crash, finds either place empty."""
    import ctypes

    here, exchange = -100, 2  # AT_FDCWD and RENAME_EXCHANGE of linux/fcntl.h and linux/fs.h
    try:
        rename = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError, TypeError):
        return False
    return rename(here, os.fsencode(one), here, os.fsencode(other), exchange) == 0


def _sync(folder: str | Path) -> None:
    """Brings a folder's own list of names to the disk; nothing where the system cannot."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _sync_all(folder: Path) -> None:
    """Brings all files of a folder to the disk, and its list of names."""
    from concurrent.futures import ThreadPoolExecutor

    def bring(path: Path) -> None:
        handle = os.open(path, os.O_RDWR)  # a system may sync only what is open for writing
        try:
            os.fsync(handle)
        finally:
            os.close(handle)

    items = list(folder.rglob("*"))
    with ThreadPoolExecutor(SYNCING) as pool:
        list(pool.map(bring, [item for item in items if item.is_file()]))
    for place in (folder, *(item for item in items if item.is_dir())):
        _sync(place)


@contextmanager
def held(folder: str | Path) -> Iterator[None]:
    """Block in which a folder, made where it is missing, is this block's alone; where the system has no locks, nobody is refused.

    Raises
    ------
    FileError
        Another block, of this process or another, has the folder; or it cannot be made.
    """
    handle = None
    try:
        Path(folder).mkdir(parents=True, exist_ok=True)
        with suppress(OSError):  # systems that do not open folders
            handle = os.open(folder, os.O_RDONLY)
    except (OSError, ValueError) as error:
        raise _cannot_write(Path(folder), error) from None
    try:
        if handle is not None and lock(handle) is False:
            raise FileError(f"another tint is at work in {folder}. Wait until it is done, or choose another name with -o.")
        yield
    finally:
        if handle is not None:
            os.close(handle)


def refuse_overwrite(path: str | Path, force: bool) -> None:
    """Nothing; raises `FileError` where a file is there and `force` is not set, or something else than a file is."""
    path = Path(path)
    try:
        there, folder = os.path.lexists(path), path.is_dir()
    except (OSError, ValueError) as error:
        raise _cannot_write(path, error) from None
    if folder:
        raise FileError(f"{path} is a folder; a file is to be written. Choose another name.")
    if there and not force:
        raise FileError(f"{path} is already there. Choose another name, or add --force to replace it.")


def refuse_folder(path: str | Path, kind: str, force: bool) -> None:
    """Nothing; raises `FileError` where a folder may not be written at `path`, as `new_folder` tells.

    One that a killed run left aside is put back first, so that it counts as there.
    """
    _refuse_folder(Path(path).absolute(), Path(path), kind, force)


def _refuse_folder(path: Path, shown: Path, kind: str, force: bool) -> None:
    """As `refuse_folder`, which calls the path as it is `shown`."""
    try:
        back = " (put back: a run was stopped while replacing it)" if put_back(path.resolve()) else ""
        if not os.path.lexists(path):
            return
        if not path.is_dir():
            raise FileError(f"{shown} is a file; a folder is to be written. Choose another name with -o.")
        if not force:
            raise FileError(f"{shown} is already there{back}. Choose another name with -o, or add --force to replace it.")
        here, place = Path.cwd().resolve(), path.resolve()
        if here == place or place in here.parents:
            raise FileError(
                f"{shown} is the folder you are in, or above it; it cannot be replaced. Choose another name with -o."
            )
        listed = (path / LIST_NAME).read_text(encoding="utf-8").splitlines() if (path / LIST_NAME).is_file() else []
        if any(path.iterdir()) and listed[:1] != [f"tint {kind}"]:
            raise FileError(
                f"{shown} is not a {kind} folder written by tint; --force will not replace it. Choose another name."
            )
        for item in path.rglob("*"):
            name = item.relative_to(path).as_posix()
            if name not in listed and name != LIST_NAME and not TEMPORARY_NAME.match(name):
                raise FileError(
                    f"{shown} holds {name}, which tint did not write; move it away, or choose another name with -o."
                )
    except (OSError, ValueError) as error:
        raise _cannot_write(shown, error) from None


def _cannot_write(path: Path, error: Exception) -> FileError:
    if isinstance(error, UnicodeEncodeError):
        return FileError(f"cannot write {path}: a name or remark holds signs that are no text. Type it anew.")
    said = getattr(error, "strerror", None) or str(error)
    number = getattr(error, "errno", None)
    if number in FULL:
        advice = "Free space, or choose another place or name."
    elif number in BARRED:
        advice = "Choose another place, or have yourself allowed to write there."
    else:
        advice = "Choose another place or name."
    return FileError(f"cannot write {str(path)[:200]}: {said}. {advice}")
