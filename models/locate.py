"""From the name of a speech model to a folder that holds it, whole."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

import platformdirs
from filelock import FileLock, Timeout

from models.catalogue import ModelEntry, ModelError, ModelFile, Part, read_catalogue

CACHE_VARIABLE = "ROSTRAL_CACHE"
ALLOW_DOWNLOAD_VARIABLE = "ROSTRAL_ALLOW_DOWNLOAD"

Progress = Callable[[int, int], None]
"""Called with bytes done and bytes in all while a model is being joined."""

_STAMP = "whole.json"
_BLOCK_BYTES = 1 << 20
_SPARE_BYTES = 16 << 20
_LOCK_WAIT_S = 600.0


def locate_model(
    name_or_path: str | Path, *, allow_download: bool = False, progress: Progress | None = None
) -> Path:
    """Return a folder with a complete CTranslate2 Whisper model.

    `name_or_path` is a name of the catalogue, an existing folder, or the name of a published model. A
    catalogue name wins over a folder of the same name in the working directory (write `./base` for the
    folder). The first use of a catalogue name joins its files into the cache and calls `progress`; later uses
    only compare sizes and modification times with the stamp left then, and recompute checksums when those
    differ. Published models are taken from the cache, and from the network only with `allow_download` or
    ROSTRAL_ALLOW_DOWNLOAD=1.

    Raises ModelError.
    """
    name = str(name_or_path)
    entry = read_catalogue().get(name)
    if entry is not None:
        return _locate_known(entry, progress)
    folder = Path(name).expanduser()
    if folder.exists():
        return _accept_folder(folder)
    if isinstance(name_or_path, Path) or name.startswith(("/", ".", "~")) or "\\" in name:
        raise ModelError(f"There is no folder {name}. Give a folder with a model, or {_known_names()}.")
    return _locate_published(name, allow_download or os.environ.get(ALLOW_DOWNLOAD_VARIABLE) == "1")


def verify_model(name_or_path: str | Path) -> tuple[str, ...]:
    """Check a model in full, reading every byte, and return what is wrong with it: nothing when it is whole.

    A catalogue model that was never joined is no fault: then its wheels must be there. Nothing is repaired
    here; `locate_model` does that.
    """
    entry = read_catalogue().get(str(name_or_path))
    if entry is None:
        folder = Path(name_or_path).expanduser()
        return tuple(f"{folder} has no {missing}" for missing in _missing_files(folder))
    folder = _folder_of(entry)
    if not folder.exists():
        return _missing_parts(entry)
    return tuple(problem for file in entry.files if (problem := _fault(folder / file.name, file)) is not None)


def cache_folder() -> Path:
    """Where models are kept: the folder ROSTRAL_CACHE names, or the user's cache folder of the system."""
    chosen = os.environ.get(CACHE_VARIABLE)
    return Path(chosen).expanduser() if chosen else platformdirs.user_cache_path("rostral", appauthor=False)


def _known_names() -> str:
    return "one of: " + ", ".join(read_catalogue())


def _folder_of(entry: ModelEntry) -> Path:
    return cache_folder() / "models" / entry.name


# Known models: joined from wheels


def _locate_known(entry: ModelEntry, progress: Progress | None) -> Path:
    folder = _folder_of(entry)
    if _stamp_holds(folder, entry):
        return folder
    with _cache_errors(entry):
        folder.parent.mkdir(parents=True, exist_ok=True)
        with _lock(entry):
            # Another process may have finished while this one waited for the lock.
            if not _stamp_holds(folder, entry) and not _renew_stamp(folder, entry):
                _join(entry, folder, progress)
    return folder


def _stamp_holds(folder: Path, entry: ModelEntry) -> bool:
    """Whether size and time of change of each file are as they were when it was last verified."""
    try:
        stamp = json.loads((folder / _STAMP).read_text(encoding="utf-8"))
        return bool(stamp == _stamp_of(folder, entry))
    except (OSError, ValueError):
        return False


def _stamp_of(folder: Path, entry: ModelEntry) -> dict[str, list[int | str]]:
    stamp: dict[str, list[int | str]] = {}
    for file in entry.files:
        state = (folder / file.name).stat()
        stamp[file.name] = [state.st_size, state.st_mtime_ns, file.sha256]
    return stamp


def _renew_stamp(folder: Path, entry: ModelEntry) -> bool:
    """Accept files whose times changed but whose bytes did not, as after copying a cache."""
    if any(_fault(folder / file.name, file) is not None for file in entry.files):
        return False
    # A cache that can only be read stays usable: its checksums are then recomputed at every start.
    with suppress(OSError):
        _write_stamp(folder, entry)
    return True


def _write_stamp(folder: Path, entry: ModelEntry) -> None:
    fresh = folder / f"{_STAMP}.new"
    fresh.write_text(json.dumps(_stamp_of(folder, entry)), encoding="utf-8")
    fresh.replace(folder / _STAMP)


def _fault(path: Path, file: ModelFile) -> str | None:
    """Say what is wrong with a joined file; None when size and checksum are right."""
    try:
        size = path.stat().st_size
        if size != file.size:
            return f"{path} has {size} bytes instead of {file.size}"
        with path.open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as error:
        return f"{path} cannot be read: {error.strerror}"
    return None if digest == file.sha256 else f"{path} has a wrong checksum: its content was changed"


def _join(entry: ModelEntry, folder: Path, progress: Progress | None) -> None:
    """Build the folder beside its place and move it there in one step, so that nobody sees half a model."""
    _sweep(folder)
    missing = _missing_parts(entry)
    if missing:
        raise ModelError(f"Speech model {entry.name}: {missing[0]}. Run: {entry.pip_command}")
    free = shutil.disk_usage(folder.parent).free
    if free < entry.size + _SPARE_BYTES:
        raise ModelError(
            f"The speech model {entry.name} needs {_megabytes(entry.size + _SPARE_BYTES)} in "
            f"{folder.parent}, where {_megabytes(free)} are free. Make room, or set {CACHE_VARIABLE} to "
            f"another folder."
        )
    building = Path(tempfile.mkdtemp(prefix=_building_prefix(folder), dir=folder.parent))
    try:
        done = 0
        for file in entry.files:
            done = _join_file(entry, file, building, done, progress)
        _write_stamp(building, entry)
        if folder.exists():
            folder.replace(building.with_name(f"{building.name}.old"))
        building.replace(folder)
    finally:
        _sweep(folder)


def _building_prefix(folder: Path) -> str:
    return f".{folder.name}-joining-"


def _sweep(folder: Path) -> None:
    """Remove what a killed process left; only the holder of the lock builds, so nothing here is in use."""
    for left in folder.parent.glob(f"{_building_prefix(folder)}*"):
        shutil.rmtree(left, ignore_errors=True)


def _join_file(
    entry: ModelEntry, file: ModelFile, building: Path, done: int, progress: Progress | None
) -> int:
    """Write one file from its parts, verify it, and return the bytes done so far over all files."""
    digest = hashlib.sha256()
    with (building / file.name).open("wb") as target:
        for part in file.parts:
            for block in _blocks(_part_path(part)):
                target.write(block)
                digest.update(block)
                done += len(block)
                if progress is not None:
                    progress(min(done, entry.size), entry.size)
        target.flush()
        os.fsync(target.fileno())
    if digest.hexdigest() != file.sha256:
        raise ModelError(
            f"The wheels of the speech model {entry.name} are damaged: {file.name} has a wrong checksum. "
            f"Run: {entry.pip_command} --force-reinstall --no-cache-dir"
        )
    return done


def _blocks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as stream:
        while block := stream.read(_BLOCK_BYTES):
            yield block


def _part_path(part: Part) -> Path:
    """Where an installed wheel keeps a file, from its own file list; the wheel's code is not imported."""
    return Path(str(distribution(part.distribution).locate_file(part.path)))


def _missing_parts(entry: ModelEntry) -> tuple[str, ...]:
    missing: list[str] = []
    for wheel in entry.wheels:
        try:
            listed = {str(path) for path in distribution(wheel.distribution).files or ()}
        except PackageNotFoundError:
            missing.append(f"the wheel {wheel.distribution} is not installed")
            continue
        for file in entry.files:
            for part in file.parts:
                if part.distribution != wheel.distribution:
                    continue
                if part.path not in listed or not _part_path(part).is_file():
                    missing.append(f"the wheel {wheel.distribution} has no file {part.path}")
    return tuple(missing)


@contextmanager
def _lock(entry: ModelEntry) -> Iterator[None]:
    path = _folder_of(entry).with_name(f".{entry.name}.lock")
    try:
        with FileLock(path, timeout=_LOCK_WAIT_S):
            yield
    except Timeout:
        raise ModelError(
            f"Another process has been preparing the speech model {entry.name} for "
            f"{_LOCK_WAIT_S / 60:.0f} minutes. End it and try again; it holds {path}."
        ) from None


@contextmanager
def _cache_errors(entry: ModelEntry) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        cache = cache_folder()
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise ModelError(
                f"There is no room left in {cache} for the speech model {entry.name} "
                f"({_megabytes(entry.size)}). Make room, or set {CACHE_VARIABLE} to another folder."
            ) from None
        raise ModelError(
            f"The speech model {entry.name} cannot be prepared in {cache}: {error.strerror or error}. "
            f"Make that folder writable, or set {CACHE_VARIABLE} to one that is."
        ) from None


def _megabytes(count: int) -> str:
    return f"{count / 1e6:.0f} MB"


# Folders and published models


def _missing_files(folder: Path) -> list[str]:
    """List what a folder lacks to be a CTranslate2 Whisper model that loads without the network.

    `tokenizer.json` is required although the weights load without it: the recogniser would look for one
    online.
    """
    missing = [
        name for name in ("model.bin", "config.json", "tokenizer.json") if not (folder / name).is_file()
    ]
    if not any(folder.glob("vocabulary.*")):
        missing.append("vocabulary.txt or vocabulary.json")
    return missing


def _accept_folder(folder: Path) -> Path:
    if not folder.is_dir():
        raise ModelError(f"{folder} is a file. Give the folder that holds the speech model.")
    missing = _missing_files(folder)
    if missing:
        raise ModelError(
            f"{folder} holds no complete CTranslate2 Whisper model: {', '.join(missing)} missing. "
            f"Complete the folder, or use {_known_names()}."
        )
    return folder


def _locate_published(name: str, allow_download: bool) -> Path:
    # Late, because these imports take about a second and known models do without them.
    from faster_whisper import download_model  # noqa: PLC0415
    from huggingface_hub.errors import HfHubHTTPError, HFValidationError, LocalEntryNotFoundError  # noqa: PLC0415

    downloads = str(cache_folder() / "downloads")
    try:
        return Path(download_model(name, local_files_only=not allow_download, cache_dir=downloads))
    except (LocalEntryNotFoundError, HfHubHTTPError, OSError) as error:
        if not allow_download:
            raise ModelError(
                f"The speech model {name} is not on this machine, and downloads are off. Use "
                f"{_known_names()}, or a folder, or allow the download with {ALLOW_DOWNLOAD_VARIABLE}=1."
            ) from None
        raise ModelError(
            f"The speech model {name} could not be downloaded: {_first_line(error)}. "
            f"Check the name and the connection, or use {_known_names()}."
        ) from None
    except (ValueError, HFValidationError):
        raise ModelError(f"{name} is no speech model. Use {_known_names()}, or a folder with one.") from None


def _first_line(error: Exception) -> str:
    return (str(error).strip().splitlines() or [type(error).__name__])[0].rstrip(".")
