"""Results folders: whole or not at all, by any number of processes, and in the place of nothing but an older result."""

import errno
import fcntl
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

END = ".draft"  # of the names of rooms for drafts
STALE = 3600.0  # s after which a room that cannot be locked, as on some networks, is left; our choice, writing takes s


def refuse_unusable(folder: Path, *, mark: str) -> None:
    """Raise OSError if a folder cannot be written there, or if what is there has no file `mark`, as results have."""
    there = next(path for path in folder.parents if path.exists())
    if not there.is_dir():
        raise NotADirectoryError(f"{there} is not a folder")
    tempfile.TemporaryFile(dir=there).close()  # fails now rather than after the work
    if folder.is_symlink() or (folder.exists() and not (folder / mark).is_file()):
        raise FileExistsError(f"{folder} is not a results folder and will not be replaced; move it out of the way")


@contextmanager
def whole(folder: Path) -> Iterator[Path]:
    """A draft to write into, which takes the folder's place at the end; after an error all is as it was."""
    with _draft(folder) as draft:
        yield draft
        while not _renamed(draft, folder):
            with tempfile.TemporaryDirectory(dir=draft.parent) as place, suppress(FileNotFoundError):
                folder.rename(Path(place) / "old")  # gone at once, unless another process was quicker


@contextmanager
def first(folder: Path) -> Iterator[Path]:
    """A draft as in `whole`, dropped if by the end another process has put its own in the folder's place."""
    with _draft(folder) as draft:
        yield draft
        _renamed(draft, folder)


@contextmanager
def _draft(folder):
    folder.parent.mkdir(parents=True, exist_ok=True)
    with _room(folder.name, folder.parent) as room:
        draft = room / "draft"
        draft.mkdir()
        yield draft


@contextmanager
def _room(stem, parent):
    """A hidden folder to write in, removed at the end, or by `sweep` if the process has been killed."""
    with _locked(parent):  # nobody sweeps meanwhile
        room = tempfile.TemporaryDirectory(prefix=f".{stem}-", suffix=END, dir=parent)
        hold = os.open(room.name, os.O_RDONLY)
        _lock(hold, fcntl.LOCK_EX)
    try:
        with room:
            yield Path(room.name)
    finally:
        os.close(hold)


def sweep(into: Path) -> None:
    """Remove the rooms of drafts that killed processes left in a folder of results, or in one or two folders below."""
    for room in [room for depth in ("", "*/", "*/*/") for room in into.glob(f"{depth}.*-*{END}")]:
        with suppress(OSError), _locked(room.parent):  # another may be quicker, or the folder not ours
            if _abandoned(room):
                shutil.rmtree(room)


def _abandoned(room):
    """Whether no process holds a room."""
    hold = os.open(room, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
    try:
        return _lock(hold, fcntl.LOCK_EX | fcntl.LOCK_NB) or time.time() - os.fstat(hold).st_mtime > STALE
    except BlockingIOError:
        return False
    finally:
        os.close(hold)


@contextmanager
def _locked(folder):
    hold = os.open(folder, os.O_RDONLY)
    try:
        _lock(hold, fcntl.LOCK_EX)
        yield
    finally:
        os.close(hold)


def _lock(hold, how):
    """Whether a folder could be locked; a network's may be of a kind that cannot. Raises BlockingIOError."""
    try:
        fcntl.flock(hold, how)
    except BlockingIOError:
        raise
    except OSError:
        return False
    return True


def _renamed(draft, folder):
    """Whether the draft could be renamed; not onto a folder that is not empty, which rename(2) refuses."""
    try:
        draft.rename(folder)
    except OSError as error:
        if error.errno not in (errno.ENOTEMPTY, errno.EEXIST):
            raise
        return False
    return True


@contextmanager
def whole_files(*paths: Path, failure: type[Exception] = OSError) -> Iterator[list[Path]]:
    """Drafts of files of one folder, which take their places at the end; whoever reads finds those before, or these.

    failure   what a library raises that cannot write; OSError is raised then
    """
    with _room(paths[0].stem, paths[0].parent) as room:
        drafts = [room / path.name for path in paths]
        try:
            yield drafts
        except failure as error:
            raise error if isinstance(error, OSError) else OSError(str(error)) from error
        for draft, path in zip(drafts, paths, strict=True):
            os.replace(draft, path)


def write_whole(path: Path, text: str) -> None:
    """Write a text file, whole or not at all."""
    with whole_files(path) as (draft,):
        draft.write_text(text, encoding="utf-8")
