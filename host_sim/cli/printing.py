"""Prints tables of two columns: names and values."""


def print_rows(rows: list[tuple[str, str]]) -> None:
    """Print names and values side by side; a value may have several lines."""
    width = max(len(name) for name, _ in rows) + 2
    for name, value in rows:
        print(f"{name:<{width}}" + value.replace("\n", "\n" + " " * width))
