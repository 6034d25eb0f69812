"""The refusal of a source that can't be translated."""

import ast
from pathlib import Path


class OutsideSubsetError(Exception):
    """A source uses something that this folder's README.md does not list; the message names file and line."""


def outside(path: Path, node: ast.AST, sentence: str) -> OutsideSubsetError:
    """Return the refusal of `node` in the file at `path`."""
    return OutsideSubsetError(f"{path}:{getattr(node, 'lineno', 1)}: {sentence}")
