"""The rows of a CSV table with a header, for every reader of such files."""

import csv
from collections.abc import Iterator

from host_sim.errors import RequestError


def table_rows(lines: list[str], width: int, file_name: str) -> Iterator[tuple[list[str], str]]:
    """Yield the cells of each non-empty row below the header, and its place for messages.

    `lines` is the whole file with its header, `width` how many cells a row must have. RequestError if it has
    others, or if the file is not CSV.
    """
    try:
        # strict, so that an open quotation mark at the end of a truncated file is noticed.
        for line, cells in enumerate(csv.reader(lines[1:], strict=True), start=2):
            place = f"{file_name} line {line}"
            if cells and len(cells) != width:
                raise RequestError(f"{place}: it has {len(cells)} cells, the header has {width}")
            if cells:
                yield cells, place
    except csv.Error as error:
        raise RequestError(f"{file_name}: this is not CSV: {error}") from error
