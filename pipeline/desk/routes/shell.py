"""What belongs to every page: the web app's manifest, its worker, the page without a network, how pages look."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse

from pipeline.desk.cookies import LOOKS, set_look
from pipeline.desk.forms import Form
from pipeline.desk.pages import go_to, own_address, page
from pipeline.desk.statics import asset, content, names
from pipeline.desk.texts import say

router = APIRouter(include_in_schema=False)

_WORKER = "worker.js"
_OFFLINE = "/offline"


@router.get("/app.webmanifest")
def manifest() -> JSONResponse:
    """What a browser needs to install the desk as an app (W3C Web Application Manifest)."""
    return JSONResponse(
        {
            "id": "/",
            "name": say("app.name"),
            "short_name": say("app.name"),
            "description": say("app.what"),
            "lang": "en",
            "start_url": "/",
            "scope": "/",
            "display": "standalone",
            "background_color": "#f5f3ec",
            "theme_color": "#0e4f4a",
            "icons": [
                {"src": asset(name), "sizes": "any", "type": "image/svg+xml", "purpose": purpose}
                for name, purpose in (("icon.svg", "any"), ("icon-maskable.svg", "maskable"))
            ],
        },
        media_type="application/manifest+json",
        headers={"Cache-Control": "no-cache"},
    )


@router.get("/worker.js")
def worker() -> Response:
    """The service worker with the list of what it keeps. It stands at the root, for its reach is its folder."""
    kept = JSONResponse([_OFFLINE, *(asset(name) for name in names() if name != _WORKER)]).body
    script = b"const KEPT = " + bytes(kept) + b";\n" + content(_WORKER)
    return Response(script, media_type="text/javascript", headers={"Cache-Control": "no-cache"})


@router.get(_OFFLINE)
def offline(request: Request) -> Response:
    """What stands in for a page that cannot be had."""
    return page(request, "offline.html", bare=True)


@router.post("/look")
def look(request: Request, form: Form) -> Response:
    """Choose light, dark or high contrast for this browser."""
    response = go_to(own_address(form.get("next")))
    chosen = form.get("look", "")
    if chosen in LOOKS:
        set_look(request, response, chosen)
    return response
