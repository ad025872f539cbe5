"""Examinations that go on: sound comes from browsers in numbered pieces or from the server's own microphone, and becomes a draft.

Sound is on the disk before it is acknowledged; what is understood is read from the disk. So nothing is lost with this process,
and whoever is slow keeps nothing in memory. Knows nothing of HTTP.
"""

from pipeline.desk.rooms.file import RoomError
from pipeline.desk.rooms.pieces import LARGEST_PIECE, Piece, PieceError, read_piece, write_piece
from pipeline.desk.rooms.room import Room
from pipeline.desk.rooms.rooms import Rooms
from pipeline.desk.rooms.stream import Stream

__all__ = [
    "LARGEST_PIECE",
    "Piece",
    "PieceError",
    "Room",
    "RoomError",
    "Rooms",
    "Stream",
    "read_piece",
    "write_piece",
]
