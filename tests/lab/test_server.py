"""The local server answers its own page only: requests as attackers would send them, byte by byte."""

import json
import re
import socket
from threading import Thread

import pytest

from host_sim.lab.catalogue import NAMES, lesson
from host_sim.lab.own_loop import START_CODE
from host_sim.lab.server import BODY_MAX, LabServer
from host_sim.lab.teaching import teaching

CALL = json.dumps({"lesson": 1, "values": lesson(1).start_values()})
PATIENCE_S = 60.0


@pytest.fixture(scope="module")
def served():
    server = LabServer(0)
    thread = Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
    thread.start()
    yield server
    server.shutdown()
    server.server_close()
    thread.join()


def _sent(server, data):
    """Send bytes and return status, head and body of the answer."""
    with socket.create_connection(server.server_address, timeout=PATIENCE_S) as line:
        line.sendall(data)
        line.shutdown(socket.SHUT_WR)
        answer = b""
        while chunk := line.recv(65536):
            answer += chunk
    head, _, body = answer.partition(b"\r\n\r\n")
    return int(head.split()[1]), head.decode("latin-1"), body.decode()


def _headers(server, **changed):
    """Return what the own page sends, with changes; None leaves a header out, a list repeats it."""
    port = server.server_address[1]
    sent = {
        "Host": f"127.0.0.1:{port}",
        "Origin": f"http://127.0.0.1:{port}",
        "Content-Type": "application/json",
        "X-Lab-Token": server.token,
        **{name.replace("_", "-"): value for name, value in changed.items()},
    }
    lines = []
    for name, value in sent.items():
        values = [] if value is None else value if isinstance(value, list) else [value]
        lines += [f"{name}: {one}" for one in values]
    return "\r\n".join(lines)


def _post(server, path="/call", body=CALL, length=None, **changed):
    size = len(body.encode()) if length is None else length
    head = f"POST {path} HTTP/1.1\r\n{_headers(server, **changed)}\r\nContent-Length: {size}\r\n\r\n"
    return _sent(server, head.encode("latin-1") + body.encode())


def test_its_own_page_is_answered(served):
    status, head, body = _post(served)
    assert status == 200
    assert "<svg" in json.loads(body)["figure"]
    assert "Access-Control" not in head  # No other page may read an answer.
    port = served.server_address[1]
    named = {"Host": f"localhost:{port}", "Origin": f"http://localhost:{port}"}
    assert _post(served, **named)[0] == 200


@pytest.mark.parametrize(
    "host",
    [
        "evil.example", "evil.example:PORT", "127.0.0.1", "127.0.0.1:1", "127.0.0.1:PORT.evil.example",
        "evil.example#127.0.0.1:PORT", "user@127.0.0.1:PORT", "[::1]:PORT", "0.0.0.0:PORT", "2130706433:PORT",
        "", None, ["127.0.0.1:PORT", "evil.example"], ["127.0.0.1:PORT", "127.0.0.1:PORT"],
    ],
)  # fmt: skip
def test_another_host_is_refused_for_the_page_and_for_calls(served, host):
    port = str(served.server_address[1])
    changed = (
        host
        if host is None
        else [one.replace("PORT", port) for one in ([host] if isinstance(host, str) else host)]
    )
    assert _post(served, Host=changed)[0] == 403
    got = f"GET / HTTP/1.1\r\n{_headers(served, Host=changed)}\r\nConnection: close\r\n\r\n"
    status, _, body = _sent(served, got.encode())
    assert (status, "<html" in body) == (403, False)


@pytest.mark.parametrize(
    "origin",
    [
        "http://evil.example", "null", "file://", "https://127.0.0.1:PORT", "http://127.0.0.1",
        "http://127.0.0.1:1", "http://127.0.0.1:PORT.evil.example", "http://evil.example/127.0.0.1:PORT",
        "http://127.0.0.1:PORT/", "", None, ["http://127.0.0.1:PORT", "http://evil.example"],
    ],
)  # fmt: skip
def test_a_call_from_another_page_is_refused(served, origin):
    port = str(served.server_address[1])
    changed = (
        origin if origin is None
        else [one.replace("PORT", port) for one in ([origin] if isinstance(origin, str) else origin)]
    )  # fmt: skip
    for path in ("/call", "/own"):
        status, _, body = _post(served, path, Origin=changed)
        assert status == 403
        assert "another page" in body


@pytest.mark.parametrize("token", [None, "", "x", "TOKEN ", "TOKENx", "TOKE", ["TOKEN", "TOKEN"], "é"])
def test_a_call_without_the_token_is_refused_and_runs_nothing(served, token, tmp_path):
    wrong = {"TOKEN ": served.token.swapcase(), "TOKENx": served.token + "x", "TOKE": served.token[:-1]}
    changed = wrong.get(token, token) if isinstance(token, str) else token and [served.token] * 2
    mark = tmp_path / "ran"
    code = json.dumps({"code": f"open({str(mark)!r}, 'w')"})
    assert _post(served, "/own", code, X_Lab_Token=changed)[0] == 403
    assert not mark.exists()


@pytest.mark.parametrize(
    "kind", [None, "text/plain", "application/x-www-form-urlencoded", "multipart/form-data"]
)
def test_a_form_of_another_page_can_not_pass_for_a_call(served, kind):
    # These kinds go out from any page without asking first; JSON does not.
    assert _post(served, Content_Type=kind)[0] == 415


@pytest.mark.parametrize(
    "path",
    [
        "/../../etc/passwd", "/..%2f..%2fetc/passwd", "//etc/passwd", "/etc/passwd", "/page.js", "/%2e%2e/",
        "/web/../server.py", "/?", "/call", "http://evil.example/", "/\x00", "/index.html", "\\..\\",
    ],
)  # fmt: skip
def test_there_is_one_page_and_no_file_can_be_had(served, path):
    got = f"GET {path} HTTP/1.1\r\n{_headers(served)}\r\nConnection: close\r\n\r\n"
    status, _, body = _sent(served, got.encode())
    assert status in (400, 404)
    assert "root:" not in body
    assert "import" not in body


@pytest.mark.parametrize("path", ["/", "/call/", "/own?x", "/CALL", "/../call", "/admin"])
def test_only_two_addresses_take_calls(served, path):
    assert _post(served, path)[0] == 404


def test_a_preflight_and_other_methods_get_no_permission(served):
    for method in ("OPTIONS", "PUT", "DELETE", "HEAD", "TRACE", "CONNECT", "FOO"):
        asked = f"{method} /call HTTP/1.1\r\n{_headers(served, Origin='http://evil.example')}\r\n\r\n"
        status, head, _ = _sent(served, asked.encode())
        assert status == 501, method
        assert "Access-Control" not in head


@pytest.mark.parametrize(
    ("length", "status"),
    [
        (BODY_MAX + 1, 413), (10**30, 413), ("9" * 5000, 413), (-1, 411), ("1e3", 411), ("", 411),
        ("+5", 411), ("٣", 411),
    ],
)  # fmt: skip
def test_a_huge_body_or_none_is_refused_before_it_is_read(served, length, status):
    head = f"POST /call HTTP/1.1\r\n{_headers(served)}\r\nContent-Length: {length}\r\n\r\n"
    assert _sent(served, head.encode() + b"{" * 100)[0] == status


def test_a_body_in_pieces_without_a_length_is_refused(served):
    head = f"POST /call HTTP/1.1\r\n{_headers(served, Transfer_Encoding='chunked')}\r\n\r\n"
    assert _sent(served, head.encode() + b"5\r\nhello\r\n0\r\n\r\n")[0] == 411
    both = head.replace("\r\n\r\n", "\r\nContent-Length: 2\r\n\r\n{}")
    assert _sent(served, both.encode())[0] == 411


@pytest.mark.parametrize(
    "body",
    ["", "[", "[]", "null", "1", "[" * 30_000, '{"lesson": 1e999}', "NaN", '"\\ud800"', '{"lesson": 4}'],
)
def test_a_body_that_is_no_call_is_refused_in_a_sentence(served, body):
    for path in ("/call", "/own"):
        status, _, answer = _post(served, path, body)
        assert status == 200
        refused = json.loads(answer)["refused"]
        assert refused
        assert "Traceback" not in refused
        assert "\n" not in refused


def test_a_request_that_is_none_is_refused_without_being_repeated(served):
    for data in (b"<script>alert(1)</script>\r\n\r\n", b"GET /" + b"a" * 70_000 + b" HTTP/1.1\r\n\r\n"):
        status, _, body = _sent(served, data)
        assert 400 <= status < 500
        assert "script" not in body
        assert "aaa" not in body


def test_a_busy_or_half_request_does_not_keep_others_waiting(served):
    with socket.create_connection(served.server_address) as half:
        half.sendall(b"POST /call HTTP/1.1\r\nHost: ")
        assert _post(served)[0] == 200


def test_the_page_forbids_what_it_does_not_need_and_holds_neither_token_nor_answers(served):
    got = f"GET / HTTP/1.1\r\n{_headers(served)}\r\nConnection: close\r\n\r\n"
    status, head, page = _sent(served, got.encode())
    assert status == 200
    rules = re.search("Content-Security-Policy: (.*)\r", head)[1]
    assert "default-src 'none'" in rules
    assert "connect-src 'self'" in rules
    assert "frame-ancestors 'none'" in rules
    assert "unsafe-eval'" not in rules.replace("wasm-unsafe-eval", "")
    assert served.token not in page
    for number in range(1, len(NAMES) + 1):
        taught = teaching(number)
        for secret in (*taught.aims, *re.findall("<li>(.{30})", taught.notes)):
            assert secret not in page
    again = _sent(served, got.encode())[1]
    assert re.search("nonce-([^']+)", again)[1] != re.search("nonce-([^']+)", rules)[1]


def test_a_pupils_controller_is_ridden_in_a_process_of_its_own(served):
    _, _, body = _post(served, "/own", json.dumps({"code": START_CODE}))
    assert [rule["held"] for rule in json.loads(body)["rules"]] == [True, False, False]
