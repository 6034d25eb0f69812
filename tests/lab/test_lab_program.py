"""`treadle lab` as a program: the address, what it refuses, and how it ends."""

import signal
import socket
import urllib.request

import pytest

from host_sim.lab.catalogue import LESSONS
from host_sim.lab.server import POLICY
from tests.lab.serving import PATIENCE_S, lab_program


def test_it_lists_six_lessons_and_forbids_everything_from_outside():
    with lab_program("--port", "0") as (program, url):
        with urllib.request.urlopen(url, timeout=PATIENCE_S) as answer:
            page = answer.read().decode()
        for number, lesson in enumerate(LESSONS, start=1):
            assert f'<a href="{number}/">{lesson.question}</a>' in page
        with urllib.request.urlopen(url + "3/", timeout=PATIENCE_S) as answer:
            assert answer.headers["Content-Security-Policy"] == POLICY
        for words in POLICY.split("; "):
            assert "http" not in words
            assert "*" not in words
        program.send_signal(signal.SIGINT)
        out, err = program.communicate(timeout=PATIENCE_S)
    assert (program.returncode, out, err) == (0, "", "")


def test_a_lesson_given_is_the_one_that_is_opened():
    with lab_program("4", "--port", "0") as (_, url):
        assert url.endswith("/4/")
        with urllib.request.urlopen(url, timeout=PATIENCE_S) as answer:
            assert answer.status == 200


def test_a_port_that_is_taken_is_told_in_one_sentence(treadle):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        code, out, err = treadle("lab", "--no-browser", "--port", str(port))
    assert (code, out) == (2, "")
    assert err.startswith(f"treadle: --port is {port}, allowed is a free one")
    assert err.count("\n") == 1


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


def test_without_marimo_it_says_how_to_get_it(treadle, monkeypatch):
    monkeypatch.setattr("host_sim.commands.lab.find_spec", lambda name: None)
    code, _, err = treadle("lab", "--no-browser")
    assert code == 2
    assert "pip install treadle[lab]" in err
