"""Serves the lessons on this computer: notebooks, a page that lists them, and nothing from outside."""

import os
import socket
from collections.abc import Awaitable, Callable, MutableMapping
from html import escape
from typing import Any

from host_sim.errors import RequestError
from host_sim.lab.catalogue import LESSONS

HOST = "127.0.0.1"
Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

# The browser itself refuses what is not from this server.
POLICY = (
    "default-src 'self' 'unsafe-inline' 'unsafe-eval' data: blob:; connect-src 'self' ws: data: blob:; "
    "img-src 'self' data: blob:; font-src 'self' data:"
)
STYLE = """
.lab-head p { margin: 0; color: #4a535e; font-size: 1rem; }
.lab-head h1 { margin: .1rem 0 .2rem; font-size: 1.55rem; line-height: 1.2; font-weight: 700;
  color: #1d2733; }
.lab-figure { margin: 0; background: #fff; color: #1d2733; }
.lab-figure svg { display: block; margin: 0 auto; max-width: 56rem !important; max-height: 24rem; }
.lab-controls { display: grid; gap: .4rem 2rem; grid-template-columns: repeat(auto-fit, minmax(13rem, 1fr)); }
.lab-strip { display: flex; flex-wrap: wrap; gap: .2rem 2.6rem; margin: 0 auto .5rem; max-width: 56rem; }
.lab-strip dd { margin: 0; font-size: 1.5rem; line-height: 1.25; font-weight: 700; }
.lab-strip dt { font-size: 1rem; }
.lab-strip dd.lab-wish { font-size: .95rem; font-weight: 400; color: #4a535e; }
.lab-met { color: #00694e; } .lab-unmet { color: #a0252f; }
.lab-exercise { border-left: 5px solid #005a94; padding: .2rem .9rem; background: #f2f6f9; color: #1d2733; }
.lab-exercise p { margin: .35rem 0; }
.lab-solved { color: #00543f; font-weight: 700; } .lab-solved::before { content: "✓ "; }
.lab-open { color: #1d2733; } .lab-open::before { content: "… "; }
.lab-links { display: flex; gap: 1.6rem; flex-wrap: wrap; }
.lab-links a { color: #005a94; text-decoration: underline; }
@media (min-width: 60rem) { html { font-size: 17px; }
  .lab-figure svg { max-height: 45vh; min-height: 18rem; } }
@media (max-width: 46rem) { .lab-head h1 { font-size: 1.25rem; } .lab-strip { gap: .2rem 1.4rem; }
  .lab-strip dd { font-size: 1.2rem; }
  .lab-scroll { overflow-x: auto; } .lab-figure svg { min-width: 520px; }
  .lab-figure svg[viewBox^="0 0 1000"] { min-width: 860px; } }
"""
LIST = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Treadle lab</title>
<meta name="viewport" content="width=device-width, initial-scale=1"><link rel="icon" href="data:,">
<style>
body { font: 1.25rem/1.45 system-ui, sans-serif; color: #1d2733; max-width: 46rem; margin: 2rem auto;
  padding: 0 1rem; }
li { margin: .7rem 0; } a { color: #005a94; } span { color: #4a535e; font-size: 1rem; }
</style></head><body><main><h1>Treadle lab</h1>
<p>Six lessons. What moves here is the real firmware, ridden on the bench as you move a slider.</p>
<ol>ROWS</ol>
<p><span>A simulation is no approval: what holds here is a reason to try carefully on a real bicycle, no proof
about it.</span></p></main></body></html>
"""
HEAD = f"<style>{STYLE}</style>"


def lab_app() -> App:
    """Return the lab as an ASGI application: the list at /, lesson N at /N/."""
    # Neither asks a registry for newer versions nor reports anything.
    os.environ["MARIMO_SKIP_UPDATE_CHECK"] = "1"
    from marimo import create_asgi_app

    builder = create_asgi_app(quiet=True, include_code=False, html_head=HEAD)
    for number, lesson in enumerate(LESSONS, start=1):
        builder = builder.with_app(path=f"/{number}", root=str(lesson.path))
    lessons: App = builder.build()
    page = list_page().encode("utf-8")

    async def app(scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and scope["path"] == "/":
            headers = [
                (b"content-type", b"text/html; charset=utf-8"),
                (b"content-length", str(len(page)).encode()),
            ]
            await send({"type": "http.response.start", "status": 200, "headers": headers})
            await send({"type": "http.response.body", "body": page})
        else:
            await lessons(scope, receive, _with_policy(send))

    return app


async def _answer(page: bytes, send: Send) -> None:
    """Send a page of HTML."""
    headers = [(b"content-type", b"text/html; charset=utf-8"), (b"content-length", str(len(page)).encode())]
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    await send({"type": "http.response.body", "body": page})


def _with_policy(send: Send) -> Send:
    """Return `send` with the policy added to the head of every answer."""

    async def guarded(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            policy = (b"content-security-policy", POLICY.encode("ascii"))
            message = {**message, "headers": [*message.get("headers", []), policy]}
        await send(message)

    return guarded


def list_page() -> str:
    """Return the page that lists the lessons, as HTML."""
    rows = "".join(
        f'<li><a href="{number}/">{escape(lesson.question)}</a><br><span>{escape(lesson.title)}</span></li>'
        for number, lesson in enumerate(LESSONS, start=1)
    )
    return LIST.replace("ROWS", rows)


def bound_socket(port: int) -> socket.socket:
    """Return a socket that listens on this computer only; RequestError if the port is not free."""
    bound = socket.socket()
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((HOST, port))
        bound.listen()  # A browser that comes early waits instead of being refused.
    except OSError as error:
        bound.close()
        raise RequestError(
            f"--port is {port}, allowed is a free one, 1024 to 65535, or 0 for any: {error.strerror}"
        ) from None
    return bound


def serve(bound: socket.socket) -> None:
    """Serve the lab until somebody interrupts."""
    import uvicorn

    config = uvicorn.Config(lab_app(), log_level="error", access_log=False, timeout_graceful_shutdown=1)
    uvicorn.Server(config).run(sockets=[bound])
