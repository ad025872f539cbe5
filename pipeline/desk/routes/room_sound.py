"""The line between a room's page and the desk, a WebSocket: pieces of sound one way, acknowledgements and news the other.

DEVELOPERS.md has the messages. Nothing is acknowledged that is not on the disk; whatever goes wrong, the line is closed with a
code, and the page sends again from what was acknowledged.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import time
from typing import Any

from fastapi import APIRouter, WebSocket, WebSocketDisconnect
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from pipeline.capture import CaptureError
from pipeline.desk.desk import AtDesk, Desk
from pipeline.desk.errors import DeskError, SignInNeededError, status_of
from pipeline.desk.rooms import PieceError, Room, RoomError, read_piece
from pipeline.desk.routes.room import room_for
from pipeline.desk.texts import say
from pipeline.desk.who import clinical_of
from pipeline.store import StoreError

router = APIRouter()

_REFUSED = 4000
"""A code of the line is this and the HTTP status of the same refusal; 4000 to 4999 are for applications (RFC 6455, 7.4.2)."""
_ALIVE_S = 2.0
_SYNC_S = 0.5
_BREATH_S = 0.1
_LOOK_S = 60.0


class Announced(BaseModel):
    """A stream that pieces will follow of, or (`over`) the word that none follows for now."""

    model_config = ConfigDict(extra="forbid")

    stream: str = Field(pattern=r"^[a-z0-9-]{1,64}$")
    rate_hz: int
    source: str = Field(max_length=200)
    over: bool = False


@router.websocket("/room/{visit_id}/sound")
async def sound(socket: WebSocket, desk: AtDesk, visit_id: str) -> None:
    """Serve one page of a room."""
    await socket.accept()
    with contextlib.suppress(WebSocketDisconnect, RuntimeError):
        try:
            room = await asyncio.to_thread(_room, socket, desk, visit_id)
            await _Line(socket, desk, room).serve()
        except (DeskError, StoreError) as error:
            await _refuse(socket, status_of(error), str(error))
        except RoomError as error:
            # The page is to know that it is over, and not only that its sound is not taken.
            await socket.send_text(json.dumps({"news": room.news()}))
            await _refuse(socket, 409, str(error))
        except (PieceError, ValidationError):
            await _refuse(socket, 400, say("room.not_understood"))
        except CaptureError as error:
            await _refuse(socket, 507, str(error))


def _room(socket: WebSocket, desk: Desk, visit_id: str) -> Room:
    return room_for(socket, desk, clinical_of(socket, desk), visit_id)


async def _refuse(socket: WebSocket, status: int, why: str) -> None:
    await socket.send_text(json.dumps({"refused": why}))
    await socket.close(_REFUSED + status)


class _Line:
    """One page's line to its room."""

    def __init__(self, socket: WebSocket, desk: Desk, room: Room) -> None:
        self._socket, self._desk, self._room = socket, desk, room
        self._changed = asyncio.Event()
        self._one_at_a_time = asyncio.Lock()
        self._stream = ""
        self._safe = 0
        self._heard = 0

    async def serve(self) -> None:
        """Take what comes and tell what is new, until either fails."""
        loop = asyncio.get_running_loop()

        def changed() -> None:
            loop.call_soon_threadsafe(self._changed.set)

        leave = self._room.watch(changed)
        both = [asyncio.create_task(self._take()), asyncio.create_task(self._tell())]
        try:
            await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
        finally:
            leave()
            for one in both:
                one.cancel()
            ended = await asyncio.gather(*both, return_exceptions=True)
        for error in ended:
            if isinstance(error, Exception):
                raise error

    async def _take(self) -> None:
        while True:
            message = await self._socket.receive()
            if message["type"] == "websocket.disconnect":
                raise WebSocketDisconnect(message.get("code", 1000))
            if message.get("bytes") is not None:
                await self._piece(message["bytes"])
            else:
                await self._announced(Announced.model_validate_json(message.get("text") or ""))

    async def _announced(self, about: Announced) -> None:
        self._stream = about.stream
        if about.over:
            self._safe = await asyncio.to_thread(self._room.sync, about.stream, over=True)
        else:
            self._safe = await asyncio.to_thread(
                self._room.open_stream, about.stream, about.rate_hz, about.source
            )
        self._heard = self._safe
        await self._acknowledge()

    async def _piece(self, data: bytes) -> None:
        piece = read_piece(data)
        safe = await asyncio.to_thread(self._room.take, self._stream, piece)
        self._heard = max(self._heard, piece.first + len(piece.samples))
        if safe != self._safe:
            self._safe = safe
            await self._acknowledge()

    async def _acknowledge(self) -> None:
        await self._send({"stream": self._stream, "safe": self._safe})

    async def _tell(self) -> None:
        shown: dict[str, Any] = {}
        looked = told = time.monotonic()
        while True:
            self._changed.clear()
            news = await asyncio.to_thread(self._room.news)
            parts = {name: part for name, part in news.items() if name not in shown or shown[name] != part}
            now = time.monotonic()
            if parts or now - told >= _ALIVE_S:
                await self._send({"news": parts})
                shown, told = news, now
            if self._heard > self._safe:
                # The last of the sound is forced to the disk though no more comes.
                await self._sync(self._stream)
            if now - looked >= _LOOK_S:
                looked = now
                if not await asyncio.to_thread(self._may_stay):
                    raise SignInNeededError
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._changed.wait(), _SYNC_S)
            await asyncio.sleep(_BREATH_S)

    async def _sync(self, stream: str) -> None:
        safe = await asyncio.to_thread(self._room.sync, stream)
        if stream == self._stream:
            self._safe = max(self._safe, safe)
            await self._acknowledge()

    def _may_stay(self) -> bool:
        try:
            clinical_of(self._socket, self._desk)
        except DeskError:
            return False
        return True

    async def _send(self, message: dict[str, Any]) -> None:
        async with self._one_at_a_time:
            await self._socket.send_text(json.dumps(message, ensure_ascii=False))
