"""Pieces of sound as they travel: a head of 20 bytes and mono 16-bit samples, all little-endian.

| bytes | what |
| --- | --- |
| 0-3 | `RSP1` |
| 4-7 | CRC-32 of everything behind it (ISO 3309, as zlib computes it) |
| 8-15 | the number of the piece: how many samples of this stream came before it |
| 16-19 | milliseconds that were not recorded before it; 0 when it follows without a break |
| 20- | samples |

A piece that was sent twice says the same of the same numbers, so what is there already is told from what is new.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

LARGEST_PIECE = 1 << 19
"""Most bytes of a piece: five seconds at 48 kHz."""

_HEAD = struct.Struct("<4sIQI")
_MARK = b"RSP1"
_CHECKED_FROM = 8


class PieceError(ValueError):
    """What came is no piece, or not as it was sent."""


@dataclass(frozen=True, eq=False)
class Piece:
    """Samples of a stream from number `first` on; before them `lost_ms` were not recorded."""

    first: int
    samples: NDArray[np.int16]
    lost_ms: int = 0


def read_piece(data: bytes) -> Piece:
    """Take a piece apart. Raises PieceError."""
    if not _HEAD.size < len(data) <= LARGEST_PIECE or len(data) % 2:
        raise PieceError(f"a piece of sound cannot have {len(data)} bytes")
    mark, checksum, first, lost_ms = _HEAD.unpack_from(data)
    if mark != _MARK or checksum != zlib.crc32(data[_CHECKED_FROM:]):
        raise PieceError("a piece of sound is not as it was sent")
    return Piece(first, np.frombuffer(data, "<i2", offset=_HEAD.size).astype(np.int16), lost_ms)


def write_piece(piece: Piece) -> bytes:
    """Put a piece together."""
    body = (
        _HEAD.pack(_MARK, 0, piece.first, piece.lost_ms)[_CHECKED_FROM:]
        + piece.samples.astype("<i2").tobytes()
    )
    return _MARK + struct.pack("<I", zlib.crc32(body)) + body
