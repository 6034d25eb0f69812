"""The row of numbers above a lesson's chart, as HTML that wraps on a phone: values and their targets."""

from html import escape

Number = tuple[str, str, str, bool | None]
"""Name, value, target, and whether the target is met; None if there is no target."""

_KINDS: dict[bool | None, tuple[str, str]] = {
    None: ("lab-plain", ""),
    True: ("lab-met", "✓ "),
    False: ("lab-unmet", "✗ "),
}


def strip(shown: list[Number]) -> str:
    """Return the numbers as HTML; signs, not only colours, mark good and bad."""
    cells = []
    for name, value, target, met in shown:
        kind, sign = _KINDS[met]
        cells.append(
            f'<div><dt>{escape(name)}</dt><dd class="{kind}">{sign}{escape(value)}</dd>'
            f'<dd class="lab-wish">{escape(target)}</dd></div>'
        )
    return f'<dl class="lab-strip">{"".join(cells)}</dl>'
