"""Answers kept on disk by the content of their question, so that what was computed once isn't computed again.

The key is a hash of the inputs, of this program's own source and of the libraries' versions: a changed program
never reads an old answer. `PALLETWRIGHT_CACHE=off` switches it off; a path there puts it elsewhere.
"""

from __future__ import annotations

import contextlib
import dataclasses
import hashlib
import io
import os
import pickle
import platform
import struct
import sys
import warnings
from collections.abc import Callable, Mapping, Sequence, Set
from enum import Enum
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

T = TypeVar("T")

LIBRARIES = (
    "build123d",
    "cadquery-ocp-novtk",
    "clarabel",
    "highspy",
    "manifold3d",
    "numba",
    "numpy",
    "ortools",
    "pydantic",
    "scipy",
    "shapely",
    "trimesh",
)
GREATEST_BYTES = 2_000_000_000
"""Past this the oldest answers are thrown away, down to four fifths of it."""


class CacheWarning(UserWarning):
    """The cache couldn't be used for one answer; the answer was computed instead."""


def cached(room: str, inputs: Sequence[object], make: Callable[[], T], directory: Path | None = None) -> T:
    """The answer to `make()`, from disk where the same was asked before.

    Parameters
    ----------
    room : the room that asks, as a folder name
    inputs : everything that the answer depends on: numbers, texts, arrays, dataclasses, models, and containers
        of them; a `Path` counts with the content of its file
    make : computes the answer, which must be picklable
    directory : where to look; default: the platform's cache folder, or what PALLETWRIGHT_CACHE names

    Raises TypeError for an input that has no content to hash. Warns with CacheWarning where an entry is corrupt
    or can't be written.
    """
    folder = directory or place()
    if folder is None:
        return make()
    key = fingerprint((room, tuple(inputs), program(), libraries()))
    file = folder / room / f"{key}.pickle"
    found, answer = _load(file)
    if not found:
        answer = make()
        _save(folder, file, answer)
    return answer  # type: ignore[no-any-return]


def place() -> Path | None:
    """The cache's folder; None where it is switched off."""
    named = os.environ.get("PALLETWRIGHT_CACHE", "")
    if named.casefold() == "off":
        return None
    if named:
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_cache_dir("palletwright", appauthor=False))


@cache
def program() -> str:
    """Hash of this program's own source: the version of every room."""
    digest = hashlib.sha256()
    root = Path(__file__).parent
    for file in sorted(root.rglob("*.py")):
        digest.update(str(file.relative_to(root)).encode() + b"\0" + file.read_bytes() + b"\0")
    return digest.hexdigest()


@cache
def libraries() -> tuple[str, ...]:
    """Versions of Python, the processor's kind and the libraries that compute."""
    found = [f"python {sys.version_info[0]}.{sys.version_info[1]}", platform.machine()]
    for name in LIBRARIES:
        try:
            found.append(f"{name} {metadata.version(name)}")
        except metadata.PackageNotFoundError:
            found.append(f"{name} absent")
    return tuple(found)


def fingerprint(value: object) -> str:
    """Hash of a value's content, the same in every process. Raises TypeError where a value has no content."""
    digest = hashlib.sha256()
    _feed(digest.update, value)
    return digest.hexdigest()[:40]


def _feed(update: Callable[[bytes], None], value: object) -> None:
    """Hash `value`, its type first, so that 1, 1.0, True and '1' differ."""
    match value:
        case None | bool() | int() | str():
            _mark(update, type(value).__name__, str(value).encode())
        case float():
            _mark(update, "float", struct.pack("<d", value))
        case bytes():
            _mark(update, "bytes", value)
        case Enum():
            _mark(update, "enum", f"{type(value).__qualname__}.{value.name}".encode())
        case np.ndarray() if value.dtype != object:
            _mark(update, f"array {value.dtype.str} {value.shape}", np.ascontiguousarray(value).tobytes())
        case np.generic():
            _feed(update, np.asarray(value))
        case Path():
            _mark(update, "file", value.read_bytes())
        case Mapping():
            _many(update, "map", sorted((fingerprint(k), fingerprint(v)) for k, v in value.items()))
        case Set():
            _many(update, "set", sorted(map(fingerprint, value)))
        case list() | tuple():
            _many(update, "row", value)
        case _:
            _feed_record(update, value)


def _feed_record(update: Callable[[bytes], None], value: object) -> None:
    """Hash a dataclass or a model: its fields, not what it has worked out since."""
    fields = getattr(type(value), "model_fields", None)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = [f.name for f in dataclasses.fields(value)]
    if fields is None:
        raise TypeError(f"a {type(value).__qualname__} has no content to hash")
    _mark(update, "record", type(value).__qualname__.encode())
    _many(update, "fields", [(name, getattr(value, name)) for name in fields])


def _many(update: Callable[[bytes], None], kind: str, values: Sequence[object]) -> None:
    _mark(update, kind, str(len(values)).encode())
    for one in values:
        _feed(update, one)


def _mark(update: Callable[[bytes], None], kind: str, content: bytes) -> None:
    update(f"{kind}:{len(content)}:".encode())
    update(content)


class _Pickler(pickle.Pickler):
    """Keeps read-only arrays read-only: a cached answer equals a computed one."""

    def reducer_override(self, obj: Any) -> Any:
        if type(obj) is np.ndarray and not obj.flags.writeable and obj.dtype != object:
            return _read_only, (obj.copy(),)
        return NotImplemented


def _read_only(array: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    array.setflags(write=False)
    return array


def _load(file: Path) -> tuple[bool, Any]:
    try:
        content = file.read_bytes()
    except FileNotFoundError:
        return False, None
    except OSError as error:
        warnings.warn(f"cache entry {file.name} can't be read ({error.strerror})", CacheWarning, stacklevel=3)
        return False, None
    if hashlib.sha256(content[32:]).digest() == content[:32]:
        try:
            answer = pickle.loads(content[32:])
        except Exception as error:
            problem = f"{type(error).__name__}: {error}"
        else:
            os.utime(file)
            return True, answer
    else:
        problem = "its checksum is wrong"
    warnings.warn(f"cache entry {file.name} is corrupt ({problem}); computed again", CacheWarning, stacklevel=3)
    return False, None


def _save(folder: Path, file: Path, answer: object) -> None:
    buffer = io.BytesIO()
    _Pickler(buffer, protocol=5).dump(answer)
    content = buffer.getvalue()
    part = file.with_suffix(f".{os.getpid()}.part")
    try:
        file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        part.write_bytes(hashlib.sha256(content).digest() + content)
        os.replace(part, file)
        trim(folder)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        warnings.warn(f"answer not kept in {folder} ({error.strerror})", CacheWarning, stacklevel=3)


def trim(folder: Path, greatest: int = GREATEST_BYTES) -> None:
    """Throw the oldest answers away where the folder holds more than `greatest` bytes."""
    files = [(file.stat(), file) for file in folder.glob("*/*.pickle")]
    held = sum(stat.st_size for stat, _ in files)
    if held <= greatest:
        return
    for stat, file in sorted(files, key=lambda entry: entry[0].st_mtime_ns):
        file.unlink(missing_ok=True)
        held -= stat.st_size
        if held <= 0.8 * greatest:
            return
