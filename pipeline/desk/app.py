"""Puts the desk together."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.metadata import version

from fastapi import FastAPI

from pipeline.desk import errors, statics
from pipeline.desk.courier import Courier
from pipeline.desk.desk import Desk
from pipeline.desk.ears import Ears
from pipeline.desk.guard import Guard
from pipeline.desk.metrics import Measured, Metrics
from pipeline.desk.rooms import Rooms
from pipeline.desk.routes import (
    api,
    beside,
    facts,
    filing,
    find,
    handing_over,
    home,
    owners,
    patients,
    people,
    records,
    room,
    room_sound,
    set_up,
    shell,
    signing_in,
    sound,
    tokens,
    watching,
)

AREAS = (
    statics,
    shell,
    signing_in,
    set_up,
    home,
    people,
    tokens,
    records,
    facts,
    beside,
    sound,
    room,
    room_sound,
    handing_over,
    filing,
    find,
    patients,
    owners,
    api,
    watching,
)
"""The modules whose routes make the desk; the first one that fits an address answers."""


def create_app(desk: Desk) -> FastAPI:
    """The application over an open database, which the caller closes after it."""
    app = FastAPI(
        title="Rostral",
        version=version("rostral"),
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
        # Nothing leaves the practice because a variable of the machine says so.
        telemetry={"auto_configure": False},
        lifespan=_running,
    )
    app.state.desk = desk
    errors.install(app)
    for area in AREAS:
        app.include_router(area.router)
    app.state.ears = Ears(desk.options.settings)
    app.state.rooms = Rooms(desk.options.recordings, app.state.ears.decoder)
    app.state.courier = Courier(desk.database, desk.options.settings, desk.options.recordings)
    app.state.metrics = Metrics()
    app.add_middleware(Measured, metrics=app.state.metrics)
    app.add_middleware(Guard)
    return app


@asynccontextmanager
async def _running(app: FastAPI) -> AsyncIterator[None]:
    """From the first request to the last: examinations that were ended go on to their drafts, records to where they are sent."""
    desk, rooms, courier = app.state.desk, app.state.rooms, app.state.courier
    await asyncio.to_thread(rooms.finish, desk.database, desk.at)
    await asyncio.to_thread(courier.begin)
    yield
    await asyncio.to_thread(courier.end)
    await asyncio.to_thread(rooms.leave)
