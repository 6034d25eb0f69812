"""The program, run in an empty folder."""

import sys

import pytest

from host_sim import cli


@pytest.fixture
def here(tmp_path, monkeypatch):
    """Work in an empty folder."""
    folder = tmp_path / "here"
    folder.mkdir()
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def treadle(here, monkeypatch, capsys):
    """Run the program in this process; return exit code, standard output and standard error."""

    def run(*arguments: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["treadle", *arguments])
        with pytest.raises(SystemExit) as ending:
            cli.main()
        captured = capsys.readouterr()
        return ending.value.code, captured.out, captured.err

    return run
