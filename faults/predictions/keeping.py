"""Files in the cache folder: read if they are there, written whole or not at all, never missed."""

import os
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt


def kept_text(path: Path) -> str:
    """Return the text of a file, "" if it cannot be read."""
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return ""


def keep_text(path: Path, text: str) -> None:
    """Write a file, if the folder lets itself be written."""
    _keep(path, text.encode())


def kept_array(path: Path) -> npt.NDArray[Any] | None:
    """Return an array from a file, mapped into memory; None if it cannot be read."""
    try:
        found: npt.NDArray[Any] = np.load(path, mmap_mode="r", allow_pickle=False)
    except (OSError, ValueError, EOFError):
        return None
    return found


def keep_array(path: Path, array: npt.NDArray[Any]) -> None:
    """Write an array, if the folder lets itself be written."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, suffix=".part")
        with os.fdopen(handle, "wb") as stream:
            np.save(stream, array, allow_pickle=False)
        Path(temporary).replace(path)
    except OSError:
        return


def _keep(path: Path, data: bytes) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, suffix=".part")
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        Path(temporary).replace(path)
    except OSError:
        return
