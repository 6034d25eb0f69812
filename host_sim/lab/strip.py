"""The row of numbers above a lesson's chart, as HTML that wraps on a phone: measured, and target."""

from html import escape

Number = tuple[str, str, str, bool | None]
"""Name, value, wish, and whether the wish is met; None where there is none."""

_KINDS: dict[bool | None, tuple[str, str]] = {
    None: ("lab-plain", ""),
    True: ("lab-met", "✓ "),
    False: ("lab-unmet", "✗ "),
}


def strip(shown: list[Number]) -> str:
    """Return the numbers as HTML; signs, not only colours, mark good and bad."""
    cells = []
    for name, value, wish, met in shown:
        kind, sign = _KINDS[met]
        cells.append(
            f'<div><dt>{escape(name)}</dt><dd class="{kind}">{sign}{escape(value)}</dd>'
            f'<dd class="lab-wish">{escape(wish)}</dd></div>'
        )
    return f'<dl class="lab-strip">{"".join(cells)}</dl>'
