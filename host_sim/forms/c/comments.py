"""Turns Python docstrings and comments into C comments, and breaks long lines."""

import ast
import textwrap

from host_sim.forms.model import Module

WIDTH = 112


def comment(text: str, indent: int = 0) -> list[str]:
    """Return a comment in lines; blank lines stay, and short comments take one line."""
    text = text.replace("*/", "* /").replace("/*", "/ *").strip()
    space = " " * indent
    if len(text) + indent + 6 <= WIDTH and "\n" not in text:
        return [f"{space}/* {text} */"]
    lines: list[str] = []
    for line in text.splitlines():
        if len(line) + indent + 3 <= WIDTH:
            lines.append(f"{space} * {line}".rstrip())
        else:
            lines += textwrap.wrap(line, WIDTH, initial_indent=f"{space} * ", subsequent_indent=f"{space} * ")
    lines[0] = f"{space}/*{lines[0][indent + 2 :]}"
    return [*lines, f"{space} */"]


def wrapped(text: str, indent: int = 0) -> list[str]:
    """Return a line of code, broken between words where it is too long."""
    space = " " * indent
    if len(text) + indent <= WIDTH:
        return [space + text]
    further = space + " " * 8
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=space,
        subsequent_indent=further,
        break_long_words=False,
        break_on_hyphens=False,
    )


def beside(module: Module, node: ast.Assign | ast.AnnAssign) -> str:
    """Return the comment after a constant, as one at the end of its line in C."""
    remark = module.comments.get(node.end_lineno or node.lineno, ("", True))
    return f" {comment(remark[0])[0]}" if not remark[1] else ""


def around(module: Module, node: ast.Assign | ast.AnnAssign) -> list[str]:
    """Return the comments directly above a constant, and the text below it that documents it."""
    above: list[str] = []
    line = node.lineno - 1
    while module.comments.get(line, ("", False))[1]:
        above.insert(0, module.comments[line][0])
        line -= 1
    found = comment("\n".join(above)) if above else []
    for statement in module.tree.body:
        if isinstance(statement, ast.Expr) and statement.lineno == (node.end_lineno or 0) + 1:
            assert isinstance(statement.value, ast.Constant)
            found += comment(str(statement.value.value))
    return found
