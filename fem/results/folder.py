"""Results folders: whole or not at all, by any number of processes, and in the place of nothing but an older result."""

import errno
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path


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
    with tempfile.TemporaryDirectory(prefix=f".{folder.name}-", dir=folder.parent) as room:
        draft = Path(room) / "draft"
        draft.mkdir()
        yield draft


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
def whole_files(*paths: Path) -> Iterator[list[Path]]:
    """Drafts of files of one folder, which take their places at the end; whoever reads finds those before, or these."""
    with tempfile.TemporaryDirectory(prefix=f".{paths[0].stem}-", dir=paths[0].parent) as room:
        drafts = [Path(room) / path.name for path in paths]
        yield drafts
        for draft, path in zip(drafts, paths, strict=True):
            os.replace(draft, path)


def write_whole(path: Path, text: str) -> None:
    """Write a text file, whole or not at all."""
    with whole_files(path) as (draft,):
        draft.write_text(text, encoding="utf-8")
