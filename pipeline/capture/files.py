"""Sound files of any common kind, decoded to 16 kHz mono."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import av
import numpy as np
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from av.container.input import InputContainer
from numpy.typing import NDArray

from pipeline.capture.folder import is_recording, read_folder
from pipeline.capture.model import SAMPLE_RATE_HZ, CaptureError, Recording, to_pcm
from pipeline.capture.resample import Resampler

MAX_DURATION_S = 4 * 3600.0
"""Longest recording read unless the caller says otherwise: 461 MB of samples."""

# Containers that carry their sound in themselves. Playlists and the like are left out on purpose: FFmpeg
# would follow what they name, to other files or over the network.
_CONTAINERS = (
    "aac,ac3,aiff,amr,amrnb,amrwb,ape,asf,au,avi,caf,dts,eac3,flac,flv,gsm,matroska,webm,mov,mp4,m4a,3gp,3g2,mp3,"
    "mpc,mpc8,mpeg,mpegts,nistsphere,oga,ogg,opus,rm,sox,tak,tta,voc,w64,wav,wv"
)
_OPEN_OPTIONS = {"format_whitelist": _CONTAINERS, "protocol_whitelist": "file"}

# How much shorter than promised a file may be before the user hears of it. Containers round, codecs pad.
_SHORT_BY_S = 0.5
_SHORT_BY_SHARE = 0.02

# Containers without a stated length.
_GUESSES_DURATION = ("aac", "mp3")
_HEAD_BYTES = 1 << 16
_RIFF_UNKNOWN = 0xFFFF_0000
# RFC 3533, section 6: 27 bytes of header, up to 255 lengths of up to 255 bytes.
_OGG_LONGEST_PAGE_BYTES = 27 + 255 + 255 * 255

_KINDS = "wav, flac, mp3, m4a, ogg, opus or webm"


def read_audio(path: str | Path, *, max_duration_s: float = MAX_DURATION_S) -> Recording:
    """Decode a sound file, the first sound track of a video, or a recording's folder, to 16 kHz mono.

    Channels are averaged. A file that is cut short or damaged in places gives what can be decoded, and says
    so in `Recording.warnings`.

    Raises CaptureError when the file is missing, unreadable, empty, not sound, without a sound track, without
    anything that can be decoded, or longer than `max_duration_s` seconds.
    """
    file = Path(path)
    if is_recording(file):
        return read_folder(file).to_recording()
    _check_file(file)
    with _capture_errors(file), _open(file) as container:
        if not container.streams.audio:
            raise CaptureError(f"{file} has no sound track. Give a file with sound.")
        return _decode(file, container, container.streams.audio[0], max_duration_s)


def _check_file(file: Path) -> None:
    try:
        if file.is_dir():
            raise CaptureError(f"{file} is a folder. Give one sound file.")
        if not file.exists():
            raise CaptureError(f"There is no file {file}. Check the name and the folder.")
        if not file.is_file():
            raise CaptureError(f"{file} is no ordinary file. Give a sound file.")
        if file.stat().st_size == 0:
            raise CaptureError(f"{file} is empty (0 bytes). Record it again, or copy it again.")
        with file.open("rb"):
            pass
    except PermissionError:
        raise CaptureError(f"{file} may not be read by this user. Change its permissions.") from None
    except (OSError, ValueError) as error:
        raise CaptureError(f"{file} cannot be read: {error}. Check the name and the disk.") from None


@contextmanager
def _capture_errors(file: Path) -> Iterator[None]:
    try:
        yield
    except (av.error.FFmpegError, OSError) as error:
        reason = getattr(error, "strerror", None) or error
        raise CaptureError(f"{file} cannot be read: {reason}. Copy or record it again.") from None


def _open(file: Path) -> InputContainer:
    try:
        # The absolute path, so that no name can be taken for a protocol ("concat:…").
        return av.open(str(file.absolute()), mode="r", options=_OPEN_OPTIONS, metadata_errors="ignore")
    except (av.error.FFmpegError, ValueError):
        raise CaptureError(
            f"{file} is not a sound file that can be read, or its beginning or index is lost. "
            f"Give a {_KINDS} file."
        ) from None


def _decode(file: Path, container: InputContainer, stream: AudioStream, max_duration_s: float) -> Recording:
    promised_s = _promised_duration_s(container, stream)
    if promised_s is not None and promised_s > max_duration_s:
        raise _too_long(file, max_duration_s)
    sink = _Sink()
    damaged = 0
    for frame in _frames(container, stream):
        if frame is None:
            damaged += 1
            continue
        sink.take(frame)
        if sink.duration_s > max_duration_s:
            raise _too_long(file, max_duration_s)
    pcm = sink.close()
    if not len(pcm):
        raise CaptureError(f"{file} holds no sound that can be decoded. Record it again, or copy it again.")
    warnings = _end_warnings(file, container.format.name, promised_s, len(pcm) / SAMPLE_RATE_HZ)
    if damaged:
        warnings.append(f"The file is damaged: pieces that could not be decoded, and are missing: {damaged}.")
    if sink.not_numbers:
        warnings.append(
            f"The file is damaged: samples that are no numbers, read as silence: {sink.not_numbers}."
        )
    return Recording(
        pcm=pcm,
        source=file,
        source_rate_hz=stream.rate,
        channels=stream.channels,
        codec=stream.codec_context.name,
        warnings=tuple(warnings),
    )


def _too_long(file: Path, max_duration_s: float) -> CaptureError:
    return CaptureError(f"{file} is longer than {max_duration_s / 3600:g} hours. Cut it into shorter files.")


def _end_warnings(file: Path, container: str, promised_s: float | None, decoded_s: float) -> list[str]:
    if container == "wav":
        promised_s = decoded_s * _wav_promise(file)
    elif container in _GUESSES_DURATION and not _has_length_header(file):
        promised_s = None
    elif container == "ogg" and not _has_ogg_end(file):
        return ["The file ends early: its end mark is missing. What was said last may be missing."]
    if promised_s is None or promised_s - decoded_s <= max(_SHORT_BY_S, promised_s * _SHORT_BY_SHARE):
        return []
    return [
        f"The file ends early: it promises {promised_s:.1f} s and {decoded_s:.1f} s could be read. "
        "What was said after that is missing."
    ]


def _wav_promise(file: Path) -> float:
    """Bytes that a RIFF header promises for each byte there is; FFmpeg hides the difference."""
    with file.open("rb") as stream:
        head = stream.read(8)
    promised = int.from_bytes(head[4:8], "little") + 8
    # Programs that write to a pipe cannot go back and leave the greatest number there.
    written = head[:4] == b"RIFF" and promised < _RIFF_UNKNOWN
    return promised / file.stat().st_size if written else 1.0


def _has_length_header(file: Path) -> bool:
    """Whether an MP3 file says how long it is: otherwise FFmpeg guesses from its size."""
    with file.open("rb") as stream:
        head = stream.read(_HEAD_BYTES)
    return b"Xing" in head or b"Info" in head


def _has_ogg_end(file: Path) -> bool:
    """Whether the last Ogg page is marked as the end of its stream (RFC 3533, section 6, flag 0x04)."""
    with file.open("rb") as stream:
        stream.seek(max(0, file.stat().st_size - _OGG_LONGEST_PAGE_BYTES))
        tail = stream.read()
    page = tail.rfind(b"OggS")
    return page >= 0 and page + 5 < len(tail) and bool(tail[page + 5] & 0x04)


def _promised_duration_s(container: InputContainer, stream: AudioStream) -> float | None:
    if stream.duration is not None and stream.time_base is not None:
        return float(stream.duration * stream.time_base)
    return container.duration / av.time_base if container.duration is not None else None


def _frames(container: InputContainer, stream: AudioStream) -> Iterator[AudioFrame | None]:
    """Yield decoded frames in order; None for each piece that could not be decoded."""
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets)
            for frame in packet.decode():
                if isinstance(frame, AudioFrame):
                    yield frame
        except (StopIteration, av.error.EOFError):
            return
        except av.error.FFmpegError:
            yield None


class _Sink:
    """Takes frames of any kind and gathers 16 kHz mono 16-bit samples."""

    def __init__(self) -> None:
        self._bytes = bytearray()
        self._rate_hz = 0
        self._resampler: Resampler | None = None
        self.not_numbers = 0

    @property
    def duration_s(self) -> float:
        return len(self._bytes) / 2 / SAMPLE_RATE_HZ

    def take(self, frame: AudioFrame) -> None:
        if self._resampler is None or frame.sample_rate != self._rate_hz:
            # The rate may change in mid-file, as where recordings were joined.
            self._flush()
            self._rate_hz = frame.sample_rate
            self._resampler = Resampler(frame.sample_rate)
        self._keep(self._resampler.push(self._mono(frame)))

    def close(self) -> NDArray[np.int16]:
        self._flush()
        return np.frombuffer(self._bytes, dtype=np.int16)

    def _flush(self) -> None:
        if self._resampler is not None:
            self._keep(self._resampler.finish())

    def _keep(self, samples: NDArray[np.float32]) -> None:
        self._bytes += to_pcm(samples).tobytes()

    def _mono(self, frame: AudioFrame) -> NDArray[np.float32]:
        """Average the channels, as floats between -1 and 1."""
        array = frame.to_ndarray()
        channels = array if frame.format.is_planar else array.reshape(-1, frame.layout.nb_channels).T
        if channels.dtype.kind == "f":
            finite = np.isfinite(channels)
            if not finite.all():
                self.not_numbers += int(finite.size - finite.sum())
                channels = np.where(finite, channels, 0.0)
            return np.asarray(channels.mean(axis=0), dtype=np.float32)
        mean = channels.mean(axis=0, dtype=np.float64)
        if channels.dtype.kind == "u":
            # Unsigned samples rest at the middle of their range.
            mean -= 1 << (8 * channels.dtype.itemsize - 1)
        return np.asarray(mean / (1 << (8 * channels.dtype.itemsize - 1)), dtype=np.float32)
