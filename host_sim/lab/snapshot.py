"""Lets a browser start Python with all lessons once and keep its memory: with it a page starts sooner.

The browser loads a page from a temporary server, and sends the memory back.
"""

import json
import secrets
import subprocess
import tempfile
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Event, Thread
from typing import Any

from host_sim.handover.browser import QUIET_OPTIONS, installed_browser
from host_sim.lab.catalogue import NAMES
from host_sim.lab.page import WEB, policy

WAIT_MAX_S = 240.0
MEMORY_MAX_BYTES = 200_000_000
RECORDING = f"""
import gc, json
from host_sim.lab.catalogue import lesson
from host_sim.lab.in_page import answered, own_answered
from host_sim.lab.own_loop import START_CODE
for number in range(1, {len(NAMES) + 1}):
    answered(json.dumps({{"lesson": number, "values": lesson(number).start_values()}}))
own_answered(json.dumps({{"code": START_CODE}}))
gc.collect()
"""
_SCRIPT = """
(async () => {
  const told = JSON.parse(document.getElementById("told").textContent);
  try {
    const engine = new WorkerEngine(self.TREADLE_FILES, told.lock, told.worker);
    await engine.prepared;
    const worker = new Worker(engine.address);
    const {snapshot} = await engine.asked(worker, {start: {...engine.start, recording: told.recording}});
    await fetch(told.give, {method: "POST", body: snapshot});
  } catch (error) { await fetch(told.give, {method: "POST", body: ""}); }
})();
"""


def recorded(told: dict[str, Any], scripts: dict[str, str]) -> bytes | None:
    """Return Python's memory after all lessons have run once; None if no browser here can produce it.

    `told` is passed to the page's scripts (lock and worker), `scripts` are the files of the export.
    """
    browser = installed_browser()
    if browser is None:
        return None
    with _Server(told, scripts) as server, tempfile.TemporaryDirectory(prefix="treadle-lab-") as profile:
        Thread(target=server.serve_forever, daemon=True).start()
        process = subprocess.Popen(
            [browser, *QUIET_OPTIONS, f"--user-data-dir={profile}", server.address],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        try:
            server.done.wait(WAIT_MAX_S)
        finally:
            process.terminate()
            process.wait()
            server.shutdown()
    return server.memory or None


class _Server(ThreadingHTTPServer):
    """Serves the page and the scripts under a path that nobody can guess, and receives the memory."""

    daemon_threads = True

    def __init__(self, told: dict[str, Any], scripts: dict[str, str]) -> None:
        super().__init__(("127.0.0.1", 0), _Handler)
        self.secret = secrets.token_urlsafe(24)
        self.done = Event()
        self.memory = b""
        self.pages = {f"/{self.secret}/{name}": text for name, text in scripts.items()}
        self.pages[f"/{self.secret}/"] = _page(self.secret, told, list(scripts))

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.server_address[1]}/{self.secret}/"

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Print nothing: the browser is stopped while connected."""


class _Handler(BaseHTTPRequestHandler):
    server: _Server

    def do_GET(self) -> None:
        text = self.server.pages.get(self.path)
        self.send_response(404 if text is None else 200)
        self.send_header("Content-Type", "text/javascript" if self.path.endswith(".js") else "text/html")
        self.end_headers()
        self.wfile.write((text or "").encode("utf-8"))

    def do_POST(self) -> None:
        length = int(self.headers.get("Content-Length", "0"))
        if self.path == f"/{self.server.secret}/give" and length <= MEMORY_MAX_BYTES:
            self.server.memory = self.rfile.read(length)
            self.send_response(200)
            self.end_headers()
            self.server.done.set()

    def log_message(self, format: str, *words: Any) -> None:
        """Write no log."""


def _page(nonce: str, told: dict[str, Any], scripts: list[str]) -> str:
    more = json.dumps({**told, "recording": RECORDING, "give": "give"}).replace("<", "\\u003c")
    files = "".join(f'<script nonce="{nonce}" src="{name}"></script>' for name in scripts)
    engine = (WEB / "engine.js").read_text(encoding="utf-8")
    return (
        f'<!DOCTYPE html><meta charset="utf-8"><meta http-equiv="Content-Security-Policy" '
        f'content="{policy(nonce, "&#39;self&#39;")}"><link rel="icon" href="data:,">'
        f'<script type="application/json" id="told">{more}</script>{files}'
        f'<script nonce="{nonce}">{engine}{_SCRIPT}</script>'
    )
