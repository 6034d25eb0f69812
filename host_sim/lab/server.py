"""Serves the lab to a browser on this computer, and answers only its own page.

Any program on this computer can reach a local port, and so can another page in the same browser.
So every request must name this server as its Host (a foreign name that resolves to this computer does
not), and a call must come from this server's own page (Origin), as JSON, with the token that was printed with
the address. The token follows the #, which a browser never sends.
"""

import contextlib
import hmac
import json
import secrets
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Lock
from typing import Any

from host_sim.errors import RequestError
from host_sim.lab.in_page import answered
from host_sim.lab.own_process import own_in_process
from host_sim.lab.page import page, policy

HOST = "127.0.0.1"
BODY_MAX = 64_000
WAIT_MAX_S = 10.0  # For a request that never ends.


class LabServer(ThreadingHTTPServer):
    """The server. `token` is what a call must carry."""

    daemon_threads = True
    allow_reuse_address = True

    def __init__(self, port: int) -> None:
        """Take a port, 0 for any; RequestError if it is not free."""
        self.token = secrets.token_urlsafe(24)
        self.riding = Lock()
        try:
            super().__init__((HOST, port), LabHandler)
        except OSError as error:
            raise RequestError(
                f"--port is {port}, allowed is a free one, 1024 to 65535, or 0 for any: {error.strerror}"
            ) from None

    @property
    def names(self) -> tuple[str, str]:
        """The host names by which a browser on this computer may call this server."""
        port = self.server_address[1]
        return f"{HOST}:{port}", f"localhost:{port}"

    def address(self, lesson: int) -> str:
        """Return the address of a lesson, with the token."""
        return f"http://{self.names[0]}/#{lesson}&{self.token}"

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Print nothing: a browser that disconnects is not an error."""


class LabHandler(BaseHTTPRequestHandler):
    """One connection."""

    server: LabServer
    timeout = WAIT_MAX_S
    server_version = "treadle-lab"
    sys_version = ""
    protocol_version = "HTTP/1.1"

    def do_GET(self) -> None:
        """Send the page, which is the same for everybody and contains no secret."""
        if not self._names_this_server():
            return
        if self.path != "/":
            self._refuse(HTTPStatus.NOT_FOUND, "there is one page here, /")
            return
        nonce = secrets.token_urlsafe(16)
        html = page(nonce, "'self'", {"mode": "http"}).encode("utf-8")
        self._send(HTTPStatus.OK, "text/html; charset=utf-8", html, policy(nonce, "'self'"))

    def do_POST(self) -> None:
        """Answer a call of the page."""
        calls = {"/call": answered, "/own": self._own}
        if not self._names_this_server():
            return
        call = calls.get(self.path)
        if call is None:
            self._refuse(HTTPStatus.NOT_FOUND, "allowed is /call or /own")
        elif self._one("Origin") not in [f"http://{name}" for name in self.server.names]:
            self._refuse(HTTPStatus.FORBIDDEN, "the call comes from another page")
        elif not hmac.compare_digest((self._one("X-Lab-Token") or "").encode(), self.server.token.encode()):
            self._refuse(
                HTTPStatus.FORBIDDEN, "the token is not the one that `treadle lab` printed with the address"
            )
        elif self._one("Content-Type") != "application/json":
            self._refuse(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "a call is application/json")
        else:
            text = self._body()
            if text is not None:
                self._send(HTTPStatus.OK, "application/json", call(text).encode("utf-8"))

    def _own(self, text: str) -> str:
        """Ride a pupil's controller, one at a time."""
        if not self.server.riding.acquire(blocking=False):
            return json.dumps({"refused": "another ride is running, wait until it ends"})
        try:
            return own_in_process(text)
        finally:
            self.server.riding.release()

    def _one(self, name: str) -> str | None:
        """Return a header that occurs exactly once."""
        values = self.headers.get_all(name, [])
        return values[0] if len(values) == 1 else None

    def _names_this_server(self) -> bool:
        if self._one("Host") in self.server.names:
            return True
        self._refuse(HTTPStatus.FORBIDDEN, f"Host is not {self.server.names[0]}")
        return False

    def _body(self) -> str | None:
        """Return the body; None after a refusal."""
        length = self._one("Content-Length") or ""
        if self.headers.get("Transfer-Encoding") or not (length.isascii() and length.isdecimal()):
            self._refuse(HTTPStatus.LENGTH_REQUIRED, "a call says its length")
            return None
        if len(length) > 9 or int(length) > BODY_MAX:
            self._refuse(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, f"allowed are {BODY_MAX} bytes")
            return None
        try:
            return self.rfile.read(int(length)).decode("utf-8")
        except UnicodeDecodeError:
            self._refuse(HTTPStatus.BAD_REQUEST, "a call is UTF-8")
            return None

    def _refuse(self, status: HTTPStatus, words: str) -> None:
        """Answer with a sentence and close: the body may not have been read."""
        self.close_connection = True
        with contextlib.suppress(OSError):
            self._send(status, "application/json", json.dumps({"refused": words}).encode("utf-8"))

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        """Refuse what http.server itself can't read, without repeating it."""
        self.request_version = self.protocol_version  # Without one there would be no head.
        self._refuse(HTTPStatus(code), "the lab does not answer this request")

    def _send(self, status: HTTPStatus, kind: str, body: bytes, rules: str = "default-src 'none'") -> None:
        self.send_response(status)
        for name, value in (
            ("Content-Type", kind),
            ("Content-Length", str(len(body))),
            ("Content-Security-Policy", f"{rules}; frame-ancestors 'none'"),
            ("X-Content-Type-Options", "nosniff"),
            ("Referrer-Policy", "no-referrer"),
            ("Cross-Origin-Resource-Policy", "same-origin"),
            ("Cache-Control", "no-store"),
        ):
            self.send_header(name, value)
        if self.close_connection:
            self.send_header("Connection", "close")
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(body)

    def log_message(self, format: str, *words: Any) -> None:
        """Write no log, so that the address stays visible in the terminal."""
