"""Results folders: complete or not at all, and in the place of nothing but an older result."""

import os
import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path


def refuse_unusable(folder, *, mark):
    """Raise OSError if nothing can be written where the folder is to be, or if what is there is not a result.

    mark   name of the file by which an older result is known
    """
    there = next(path for path in folder.parents if path.exists())
    if not there.is_dir():
        raise NotADirectoryError(f"{there} is not a folder")
    tempfile.TemporaryFile(dir=there).close()  # fails now rather than after the work
    if folder.is_symlink() or (folder.exists() and not (folder / mark).is_file()):
        raise FileExistsError(f"{folder} is not a results folder and will not be replaced; move it out of the way")


@contextmanager
def whole(folder):
    """A draft to write into, which takes the folder's place at the end; after an error all is as it was."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=f".{folder.name}-", dir=folder.parent) as draft:
        yield Path(draft)
        _swap(Path(draft), folder)


def _swap(draft, folder):
    """Put the finished draft in the folder's place; the draft's own place is left empty."""
    os.chmod(draft, 0o755)
    old = folder.with_name(f".{folder.name}.old-{os.getpid()}")
    if folder.exists():
        folder.rename(old)
    draft.rename(folder)
    draft.mkdir()
    if old.exists():
        shutil.rmtree(old)
