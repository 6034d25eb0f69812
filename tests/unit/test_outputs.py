"""Files are delivered whole or not at all, and nothing of a user's is lost."""

import os
import shutil
import signal
from pathlib import Path

import pytest

from host_sim.errors import RequestError
from host_sim.outputs import Delivery, fresh_folder

NAMES = ("one.csv", "two.png")


def _break_off(folder: Path, force: bool, trouble: BaseException | type[BaseException]) -> None:
    """Write every file and then fail, as a ride that is interrupted does."""
    with Delivery(folder, NAMES, force) as delivery:
        _fill(delivery)
        raise trouble


def _fill(delivery: Delivery, text: str = "new") -> None:
    for name in NAMES:
        delivery.place(name).write_text(text, encoding="utf-8")


def test_files_appear_together_and_nothing_else_remains(tmp_path):
    folder = tmp_path / "a"
    with Delivery(folder, NAMES, force=False) as delivery:
        _fill(delivery)
        assert not (folder / "one.csv").exists()
        assert delivery.deliver() == [folder / "one.csv", folder / "two.png"]
    assert sorted(path.name for path in folder.iterdir()) == ["one.csv", "two.png"]


@pytest.mark.parametrize("trouble", [KeyboardInterrupt, ZeroDivisionError, RequestError])
def test_what_is_broken_off_leaves_not_even_the_folders(tmp_path, trouble):
    with pytest.raises(trouble):
        _break_off(tmp_path / "a", False, trouble)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("made", [1, 2])
def test_an_interruption_while_folders_are_made_leaves_none_of_them(tmp_path, monkeypatch, made):
    mkdir, paths = Path.mkdir, []

    def interrupted(path: Path) -> None:
        mkdir(path)
        paths.append(path)
        if len(paths) == made:
            raise KeyboardInterrupt

    monkeypatch.setattr(Path, "mkdir", interrupted)
    with pytest.raises(KeyboardInterrupt), Delivery(tmp_path / "a", NAMES, force=False):
        pass
    assert len(paths) == made
    assert list(tmp_path.iterdir()) == []


def test_a_signal_while_it_tidies_up_is_heard_when_nothing_remains(tmp_path, monkeypatch):
    rmtree = shutil.rmtree

    def disturbed(path, **how):
        os.kill(os.getpid(), signal.SIGINT)
        rmtree(path, **how)

    monkeypatch.setattr(shutil, "rmtree", disturbed)
    with pytest.raises(KeyboardInterrupt), Delivery(tmp_path / "new", ("a",), False) as delivery:
        delivery.place("a").write_text("half")
    assert list(tmp_path.iterdir()) == []


def test_a_delivery_of_no_file_leaves_no_empty_folder(tmp_path):
    with Delivery(tmp_path / "a", (), force=False) as delivery:
        assert delivery.deliver() == []
    assert list(tmp_path.iterdir()) == []


def test_what_is_broken_off_leaves_a_users_own_folder_and_files_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    (tmp_path / "one.csv").write_text("old", encoding="utf-8")
    with pytest.raises(KeyboardInterrupt):
        _break_off(tmp_path, True, KeyboardInterrupt)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["mine.txt", "one.csv"]
    assert (tmp_path / "one.csv").read_text(encoding="utf-8") == "old"


def test_an_existing_file_is_kept_unless_forced(tmp_path):
    (tmp_path / "two.png").write_text("old", encoding="utf-8")
    sentence = r"two\.png exists already, allowed is another --out, or --force"
    with pytest.raises(RequestError, match=sentence), Delivery(tmp_path, NAMES, force=False):
        pass
    assert [path.name for path in tmp_path.iterdir()] == ["two.png"]
    with Delivery(tmp_path, NAMES, force=True) as delivery:
        _fill(delivery)
        delivery.deliver()
    assert (tmp_path / "two.png").read_text(encoding="utf-8") == "new"


def test_a_file_that_came_meanwhile_is_kept_too(tmp_path):
    with Delivery(tmp_path, NAMES, False) as delivery:
        _fill(delivery)
        (tmp_path / "one.csv").write_text("somebody else's", encoding="utf-8")
        with pytest.raises(RequestError, match="exists already"):
            delivery.deliver()
    assert (tmp_path / "one.csv").read_text(encoding="utf-8") == "somebody else's"
    assert not (tmp_path / "two.png").exists()


@pytest.mark.parametrize("force", [False, True])
def test_a_folder_in_the_place_of_a_file_is_refused_before_any_work(tmp_path, force):
    (tmp_path / "two.png").mkdir()
    sentence = r"two\.png is a directory, allowed is another --out"
    with pytest.raises(RequestError, match=sentence), Delivery(tmp_path, NAMES, force):
        pass
    assert [path.name for path in tmp_path.iterdir()] == ["two.png"]


@pytest.mark.parametrize(
    ("name", "reason"),
    [("file/x", "Not a directory"), ("file", "Not a directory"), ("n" * 300, "name too long")],
)
def test_a_folder_that_can_not_be_is_refused_in_one_sentence(tmp_path, name, reason):
    (tmp_path / "file").write_text("", encoding="utf-8")
    sentence = f"can't be written, allowed is another --out: .*{reason}"
    with pytest.raises(RequestError, match=sentence), Delivery(tmp_path / name, NAMES, force=False):
        pass
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_a_disk_that_fills_up_is_told_in_one_sentence(tmp_path):
    with pytest.raises(RequestError, match="can't be written, allowed is another --out: No space left"):
        _break_off(tmp_path / "new", False, OSError(28, "No space left on device"))
    assert list(tmp_path.iterdir()) == []


def test_a_fresh_folder_is_the_first_that_does_not_exist(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert fresh_folder("ride") == Path("ride")
    Path("ride").mkdir()
    Path("ride-2").write_text("", encoding="utf-8")
    assert fresh_folder("ride") == Path("ride-3")


def test_a_folder_above_the_one_that_was_asked_for_is_not_made(tmp_path):
    with pytest.raises(RequestError, match=r"or to make its folder first: there is no .*/a$"):
        _deliver(tmp_path / "a" / "b")
    assert list(tmp_path.iterdir()) == []


def test_of_two_runs_that_write_the_same_file_the_second_is_refused_before_it_begins(tmp_path):
    with Delivery(tmp_path / "a", NAMES, force=True) as first:
        _fill(first)
        with pytest.raises(RequestError, match=r"two\.png is being written by another run"):
            _deliver(tmp_path / "a", ("two.png", "three.png"))
        assert len(first.deliver()) == 2
    assert sorted(path.name for path in (tmp_path / "a").iterdir()) == sorted(NAMES)


def test_two_runs_may_write_other_files_of_one_folder(tmp_path):
    with Delivery(tmp_path, ("one.csv",), force=False) as first:
        _deliver(tmp_path, ("two.png",))
        first.place("one.csv").write_text("first", encoding="utf-8")
        first.deliver()
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(NAMES)


def test_what_a_killed_run_left_behind_refuses_nobody(tmp_path):
    left = tmp_path / ".unfinished-00000000"
    left.mkdir()
    (left / ".names").write_text("one.csv\ntwo.png", encoding="utf-8")
    _deliver(tmp_path)
    assert (tmp_path / "one.csv").exists()


def _deliver(folder: Path, names: tuple[str, ...] = NAMES) -> None:
    with Delivery(folder, names, force=True) as delivery:
        for name in names:
            delivery.place(name).write_text("new", encoding="utf-8")
        delivery.deliver()
