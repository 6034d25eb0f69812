"""No cycle between the folders of host_sim, and DEVELOPERS.md draws them as they are."""

from graphlib import CycleError

import pytest

from tests.docs.folder_arrows import DEVELOPERS, drawing, folder_arrows, layers, with_drawing


def test_no_folder_of_the_host_imports_what_imports_it():
    arrows = folder_arrows()
    assert {"bench", "cli", "plant", "proof"} <= set(arrows)
    assert layers(arrows)[-1] == ["cli"]


def test_the_drawing_in_developers_is_that_of_the_imports():
    text = DEVELOPERS.read_text(encoding="utf-8")
    assert with_drawing(text) == text, "uv run python -m tests.docs.folder_arrows"


def test_a_cycle_is_found_even_between_late_imports(tmp_path):
    for name, source in {
        "a": "from package.b import x\n",
        "b": "def f():\n    import package.a.y\n",
    }.items():
        folder = tmp_path / "package" / name
        folder.mkdir(parents=True)
        (folder / "m.py").write_text(source)
    arrows = folder_arrows(tmp_path / "package")
    assert arrows == {"a": {"b"}, "b": {"a"}}
    with pytest.raises(CycleError):
        layers(arrows)


def test_lower_layers_come_first():
    assert drawing({"a": {"b"}, "b": set()}) == "```\nb\na  ← b\n```\n"
