"""Firefox without a window, driven over its own remote protocol: JSON with its length before it."""

import json
import shutil
import socket
import subprocess
import tempfile
import time
from pathlib import Path

from tests.lab.serving import PATIENCE_S

FIREFOX = shutil.which("firefox-esr") or shutil.which("firefox")
_QUIET = {
    "app.normandy.enabled": False, "app.update.enabled": False, "browser.shell.checkDefaultBrowser": False,
    "datareporting.policy.dataSubmissionEnabled": False, "extensions.update.enabled": False,
    "network.captive-portal-service.enabled": False, "network.connectivity-service.enabled": False,
    "network.proxy.type": 0, "toolkit.telemetry.enabled": False,
}  # fmt: skip


class Firefox:
    """One Firefox with a profile of its own. Use as a context."""

    def __enter__(self):
        self._folder = tempfile.TemporaryDirectory(prefix="treadle-firefox-")
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        lines = [
            f'user_pref("{name}", {json.dumps(value)});'
            for name, value in {**_QUIET, "marionette.port": port}.items()
        ]
        (Path(self._folder.name) / "user.js").write_text("\n".join(lines))
        self._process = subprocess.Popen(
            [FIREFOX, "--headless", "--no-remote", "--marionette", "--profile", self._folder.name],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        try:
            self._line = self._connected(port)
            self._count = 0
            self._read()  # It says hello.
            self._ask("WebDriver:NewSession", {"capabilities": {}})
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_):
        self._process.terminate()
        self._process.wait()
        self._folder.cleanup()

    def _connected(self, port):
        end_s = time.monotonic() + PATIENCE_S
        while True:
            try:
                line = socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S)
            except OSError:
                if time.monotonic() > end_s or self._process.poll() is not None:
                    raise
                time.sleep(0.1)  # Firefox is starting.
            else:
                return line

    def _read(self):
        """Return one message."""
        size = b""
        while (sign := self._line.recv(1)) != b":":
            size += sign
        data = b""
        while len(data) < int(size):
            data += self._line.recv(int(size) - len(data))
        return json.loads(data)

    def _ask(self, command, values):
        self._count += 1
        text = json.dumps([0, self._count, command, values]).encode()
        self._line.sendall(str(len(text)).encode() + b":" + text)
        _, _, error, result = self._read()
        assert error is None, error
        return result

    def go(self, address):
        """Open a page in a new tab's place."""
        self._ask("WebDriver:Navigate", {"url": address})

    def size(self, width, height):
        """Make the window some size."""
        self._ask("WebDriver:SetWindowRect", {"width": width, "height": height})

    def run(self, script):
        """Run a script in the page and return its value."""
        return self._ask("WebDriver:ExecuteScript", {"script": script, "args": []})["value"]

    def until(self, script):
        """Wait until a script gives something true, and return it."""
        end_s = time.monotonic() + PATIENCE_S
        while time.monotonic() < end_s:
            value = self.run(script)
            if value:
                return value
            time.sleep(0.05)  # The page is at work in another process.
        raise AssertionError(f"this did not become true: {script}")
