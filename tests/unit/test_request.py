"""The watts asked for, in each state of engagement."""

import pytest

from firmware.decide.engagement import ASSISTING, BRAKED, FAULTED, READY, THROTTLING, WAITING
from firmware.decide.request import Request
from host_sim.rig.small_int import SmallInt
from host_sim.rig.small_settings import settings_with


@pytest.mark.parametrize(
    ("state", "share_permille", "throttle_permille", "wanted_w"),
    [
        (ASSISTING, 1_000, 0, 400),
        (ASSISTING, 500, 0, 200),
        (ASSISTING, 0, 0, 0),
        (ASSISTING, 500, 1_000, 300),  # The throttle asks for more.
        (ASSISTING, 1_000, 1_000, 400),
        (ASSISTING, 0, 500, 150),  # With the selector at 0 only the throttle drives.
        (THROTTLING, 1_000, 500, 150),
        (THROTTLING, 1_000, 0, 0),
        (READY, 1_000, 1_000, 0),
        (WAITING, 1_000, 1_000, 0),
        (BRAKED, 1_000, 1_000, 0),
        (FAULTED, 1_000, 1_000, 0),
    ],
)
def test_who_asks_for_how_much(state, share_permille, throttle_permille, wanted_w):
    request = Request(settings_with(assist_power_w=400, throttle_power_w=300))
    assert request.step(state, SmallInt(share_permille), SmallInt(throttle_permille)) == wanted_w
    assert request.wanted_w == wanted_w


def test_nothing_is_asked_for_at_first_nor_remembered_after():
    request = Request(settings_with())
    assert request.wanted_w == 0
    request.step(ASSISTING, 1_000, 0)
    assert request.step(READY, 1_000, 0) == 0
