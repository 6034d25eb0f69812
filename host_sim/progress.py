"""Progress of long work, on standard error and only when that is a terminal."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import Progress


@contextmanager
def progress_bar(text: str) -> Iterator[Callable[[int, int], None]]:
    """Yield a function to call with (done, all); it shows a bar on a terminal."""
    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda done, all_of_it: None
        return
    with Progress(console=console, transient=True) as progress:
        task = progress.add_task(text, total=None)
        yield lambda done, all_of_it: progress.update(task, completed=done, total=all_of_it)
