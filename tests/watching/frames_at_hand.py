"""Frames for tests of the watch, made by hand: a bicycle that is pedalled at 60 rpm with 180 W."""

from typing import Any

from host_sim.boardlink.frames import Frame

PEDALLED = Frame(
    number=0,
    time_us=1_000_000,
    steps=12,
    period_us=5050,
    worst_us=700,
    overruns=3,
    form="bytecode",
    state="assisting",
    fault="none",
    brake_pulled=False,
    drive_enabled=True,
    settings_valid=True,
    resting=False,
    throttle_rest_seen=True,
    direction="forward",
    cadence_rpm=60,
    pitch_s=0.083,
    edges=480,
    rejected=2,
    edges_lost=0,
    levels=0,
    level_samples=(0, 0, 1, 1, 3, 3, 2, 2, 0, 0, 1, 1),
    speed_m_per_s=5.0,
    share=0.75,
    wanted_w=190,
    ceiling_w=250,
    power_w=180,
    command_v=2.25,
    battery_v=37.5,
    current_a=4.8,
    throttle_v=0.7,
    selector_v=3.3,
    motor_celsius=25.0,
)


def frame_with(**changes: Any) -> Frame:
    """Return PEDALLED with these fields changed."""
    return Frame(**{name: changes.get(name, getattr(PEDALLED, name)) for name in Frame.__slots__})


def frames(count: int, first: int = 0) -> list[Frame]:
    """Return frames that follow each other, ten control periods apart."""
    return [
        frame_with(number=at % 256, steps=(12 + 10 * at) % 65536, time_us=1_000_000 + 50_000 * at)
        for at in range(first, first + count)
    ]
