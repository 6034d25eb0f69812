"""Writes a log, up to a little after its first fault, as a self-contained unit test."""

import base64
import textwrap
import zlib

from host_sim.errors import RequestError
from host_sim.replay.log_file import END, Section, header_line, piece_of
from host_sim.replay.stepping import Replay

AFTER_THE_FAULT = 400  # Steps: 2 s.
SIZE_MAX = 4_000_000  # Characters of the test; some hours of riding before the fault.

_TEXT = '''"""{title}

Made by `treadle ride --replay {log} --as-test`. LOG has the inputs and
outputs of the board's steps: its blocks, compressed and written as text.
"""

import base64
import zlib

from firmware.settings import Settings
from host_sim.replay.log_file import parse_log
from host_sim.replay.stepping import replay

FAULTS = {faults}
LOG = """
{content}
"""


def test_the_firmware_decides_on_this_ride_as_the_board_did():
    content = zlib.decompress(base64.b64decode(LOG))
    (section,) = parse_log(content, "the log in this test").sections
    found = replay(section, Settings(section.settings))
    assert found.loss is None
    assert found.steps == {steps}
{agreement}
    assert [(fault.step, fault.name) for fault in found.faults] == FAULTS
'''
_WHOLE = "    assert found.parting is None, found.parting.sentence()"
_FROM_THE_MIDDLE = """    # The log begins in the middle of a ride, with a state that it does not hold.
    assert found.agrees_from is not None
    assert found.agrees_from <= {agrees_from}"""


def shortened(section: Section, found: Replay) -> Section:
    """Return the section up to the block in which the first fault is AFTER_THE_FAULT steps old."""
    if not found.board_faults:
        return section
    end = found.board_faults[0].step + AFTER_THE_FAULT
    blocks = [block for block in section.blocks if block.step <= end]
    return Section(section.board, section.form, section.settings, section.frozen, blocks)


def test_of(section: Section, found: Replay, log_name: str) -> str:
    """Return the test of a section, `found` by replaying just that; RequestError if it would be too large."""
    pieces = [header_line(section.board, section.form, section.settings, section.frozen)]
    pieces += [piece_of(block) for block in section.blocks]
    content = b"\0".join([*pieces, END, b""])
    text = base64.b64encode(zlib.compress(content, 9)).decode("ascii")
    if len(text) > SIZE_MAX:
        raise RequestError(
            f"--as-test would make a file of {len(text)} bytes, allowed is {SIZE_MAX}: record a shorter ride"
        )
    faults = [(fault.step, fault.name) for fault in found.faults]
    named = faults[0][1] if faults else "no fault"
    agreement = _FROM_THE_MIDDLE.format(agrees_from=found.agrees_from)
    return _TEXT.format(
        title=f"A recorded ride, replayed: {named}.",
        log="".join(
            letter
            for letter in log_name
            if letter.isascii() and letter.isprintable() and letter not in "\\\"'"
        ),
        faults=repr(faults).replace("'", '"'),
        content="\n".join(textwrap.wrap(text, 100)),
        steps=found.steps,
        agreement=_WHOLE if found.from_start else agreement,
    )
