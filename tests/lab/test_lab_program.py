"""`treadle lab` as a program: the address, what it refuses, and how it ends."""

import signal
import socket
import urllib.request

import pytest

from host_sim.lab.catalogue import NAMES, lesson
from tests.lab.serving import PATIENCE_S, lab_program


def test_it_serves_one_page_with_six_lessons_and_ends_without_a_word_when_interrupted():
    with lab_program("--port", "0") as (program, url):
        with urllib.request.urlopen(url.split("#")[0], timeout=PATIENCE_S) as answer:
            page = answer.read().decode()
        for number in range(1, len(NAMES) + 1):
            assert lesson(number).question in page
            assert lesson(number).prediction.question in page
        program.send_signal(signal.SIGINT)
        out, err = program.communicate(timeout=PATIENCE_S)
    assert (program.returncode, out, err) == (0, "", "")


def test_a_lesson_given_is_the_one_that_is_opened():
    with lab_program("4", "--port", "0") as (_, url):
        assert "/#4&" in url


def test_a_port_that_is_taken_is_told_in_one_sentence(treadle):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        code, out, err = treadle("lab", "--no-browser", "--port", str(port))
    assert (code, out) == (2, "")
    assert err.startswith(f"treadle: --port is {port}, allowed is a free one")
    assert err.count("\n") == 1


def test_without_a_browser_it_says_what_to_do_and_serves_on(treadle, monkeypatch):
    monkeypatch.setattr("webbrowser.open", lambda url: False)
    monkeypatch.setattr("host_sim.cli.lab.lab", lambda request: request.server.server_close())
    code, out, err = treadle("lab", "--port", "0")
    assert (code, err) == (0, "")
    assert "No browser opened: copy the whole address into one." in out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("7",), "LESSON is 7, allowed is 1 to 6"),
        (("0",), "LESSON is 0, allowed is 1 to 6"),
        (("slew",), "LESSON is 'slew', allowed is a whole number, 1 to 6"),
        (("1.5",), "LESSON is '1.5'"),
        (("--port", "80"), "--port is 80, allowed is 1024 to 65535"),
        (("--port", "70000"), "--port is 70000"),
        (("--port", "inf"), "--port is 'inf'"),
        (("--port", "nan"), "--port is 'nan'"),
    ],
)
def test_a_wrong_request_is_refused_in_one_sentence(treadle, arguments, words):
    code, out, err = treadle("lab", "--no-browser", *arguments)
    assert (code, out) == (2, "")
    assert words in err
    assert err.count("\n") == 1
