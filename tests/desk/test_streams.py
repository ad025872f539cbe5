"""Sound that comes in numbered pieces is on the disk as it was sent, whatever happens on the way."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.capture import Follower, Recorder, read_folder
from pipeline.desk.rooms import Piece, PieceError, Stream, read_piece, write_piece

RATE_HZ = 16_000
PIECE = 1_600
SOUND = np.random.default_rng(4).integers(-32_768, 32_767, 12 * PIECE, dtype=np.int16)
LINE = [Piece(first, SOUND[first : first + PIECE]) for first in range(0, len(SOUND), PIECE)]


def opened(folder: Path) -> Stream:
    return Stream(folder, rate_hz=RATE_HZ, source="a test")


@given(
    st.lists(
        st.one_of(
            st.integers(0, len(LINE) - 1),
            st.sampled_from(["kill", "leave", "sync"]),
        ),
        max_size=40,
    )
)
@settings(max_examples=60, deadline=None)
def test_pieces_in_any_order_come_out_once_and_in_order(deeds: list[int | str]) -> None:
    """Reordered, repeated, lost, over restarts: what is safe is the beginning of what was sent; resending completes it."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "sound"
        stream, safe = opened(folder), 0
        for deed in deeds:
            if deed == "kill":
                # What a killed program leaves: nothing more is forced to the disk, and the end may be torn.
                recorder = stream._recorder
                assert recorder is not None
                recorder.let_go()
                for segment in sorted(folder.glob("*.wav"))[-1:]:
                    os.truncate(
                        segment, max(44, segment.stat().st_size - 1)
                    ) if recorder.heard > recorder.safe else None
                stream = opened(folder)
                assert stream.heard >= safe
            elif deed == "leave":
                stream.let_go()
                stream = opened(folder)
            elif deed == "sync":
                safe = stream.sync()
            else:
                assert isinstance(deed, int)
                safe = max(safe, stream.take(read_piece(write_piece(LINE[deed]))))
        for piece in LINE:
            if piece.first + PIECE > safe:
                stream.take(piece)
        assert stream.sync() == len(SOUND)
        stream.close()
        content = read_folder(folder)
        assert np.array_equal(content.pcm, SOUND)
        assert content.vouched == len(SOUND)
        assert not content.faults


def test_a_break_is_noted_once(tmp_path: Path) -> None:
    """A pause before a piece is a gap of the recording, also when the piece comes again after a restart."""
    stream = opened(tmp_path / "sound")
    stream.take(LINE[0])
    after = Piece(PIECE, SOUND[PIECE : 2 * PIECE], lost_ms=2_500)
    stream.take(after)
    stream.take(after)
    recorder = stream._recorder
    assert recorder is not None
    recorder.let_go()
    stream = opened(tmp_path / "sound")
    assert stream.breaks == [PIECE]
    stream.take(LINE[0])
    stream.take(after)
    stream.close()
    content = read_folder(tmp_path / "sound")
    assert [(gap.at_s, gap.lost_s) for gap in content.gaps] == [(0.1, 2.5)]
    assert np.array_equal(content.pcm, SOUND[: 2 * PIECE])


def test_a_damaged_piece_is_refused() -> None:
    """Every flipped bit of a piece is noticed (CRC-32 finds all errors of one bit)."""
    data = bytearray(write_piece(Piece(7, SOUND[:40], 3)))
    for place in range(len(data)):
        data[place] ^= 4
        with pytest.raises(PieceError):
            read_piece(bytes(data))
        data[place] ^= 4
    assert read_piece(bytes(data)).first == 7


def test_a_recording_is_read_while_it_grows(tmp_path: Path) -> None:
    """The follower gives every sample once, over segments and from any place."""
    recorder = Recorder(tmp_path / "sound", rate_hz=200, source="a test")
    follower, found = Follower(tmp_path / "sound", 150), []
    for start in range(0, len(SOUND), 731):
        recorder.write(SOUND[start : start + 731])
        while len(piece := follower.read(1_000)):
            found.append(piece)
    recorder.close()
    assert np.array_equal(np.concatenate(found), SOUND[150:])
    assert follower.position == len(SOUND)
