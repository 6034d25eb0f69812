"""Frames: one fixed layout, nothing allocated, and whatever is damaged on the way is noticed."""

import binascii

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from firmware.controller import Controller
from firmware.link.history import RememberedEdges
from firmware.link.payload import crc16
from firmware.link.port import PIECE_SIZE
from firmware.link.telemetry import CRC_TABLE, FRAME_SIZE, PAYLOAD_SIZE, Telemetry
from firmware.loop import LoopCounters
from firmware.records import Inputs
from host_sim.boardlink.frames import DamagedFrame, Frame, OtherKind, Wire, decode
from host_sim.rig.rig import BEFORE_WRAP_US, Rig
from tests.micropython_unix import run


class Sender:
    """A telemetry and what it looks at."""

    def __init__(self, rig: Rig | None = None) -> None:
        self.rig = rig or Rig()
        self.edges = RememberedEdges()
        self.rig.inputs.crank = self.edges
        self.counters = LoopCounters()
        self.telemetry = Telemetry(
            self.rig.controller, self.rig.inputs, self.edges, self.counters, settings_valid=True, form=1
        )

    def bytes(self, resting: bool = False, now_us: int = BEFORE_WRAP_US) -> bytes:
        """Build a frame; return it as it goes over the wire."""
        self.telemetry.measure(resting, now_us)
        self.telemetry.seal()
        self.telemetry.stuff()
        return bytes(self.telemetry.frame)

    def frame(self, resting: bool = False, now_us: int = BEFORE_WRAP_US) -> Frame:
        return decode(self.bytes(resting, now_us)[1:-1])


# The wire.


def test_the_crc_has_its_published_check_value():
    # CRC-16/IBM-3740, also called CRC-16/CCITT-FALSE: check 0x29B1; from the catalogue of parametrised CRC
    # algorithms, from memory. The standard library computes the same.
    assert crc16(CRC_TABLE, bytearray(b"123456789"), 0, 9) == 0x29B1
    assert binascii.crc_hqx(b"123456789", 0xFFFF) == 0x29B1


def test_the_table_holds_the_crc_of_each_byte_as_the_standard_library_computes_it():
    for value in range(256):
        crc = CRC_TABLE[value] << 8 | CRC_TABLE[value + 256]
        assert crc == binascii.crc_hqx(bytes([value]), 0)


@given(st.binary(max_size=300), st.integers(0, 20))
def test_the_crc_is_that_of_the_standard_library_for_any_bytes(content, start):
    assert crc16(CRC_TABLE, bytearray(content), start, len(content)) == binascii.crc_hqx(
        content[start:], 0xFFFF
    )


def test_a_frame_is_a_piece_of_64_bytes_with_zeros_at_its_ends_and_nowhere_else():
    sent = Sender().bytes()
    assert len(sent) == FRAME_SIZE == PIECE_SIZE == 64
    assert sent[0] == 0
    assert sent[-1] == 0
    assert 0 not in sent[1:-1]


@given(st.binary(min_size=PAYLOAD_SIZE, max_size=PAYLOAD_SIZE))
def test_stuffing_is_the_code_of_an_independent_library_for_any_payload(payload):
    telemetry = Sender().telemetry
    telemetry.frame[2 : 2 + PAYLOAD_SIZE] = payload
    telemetry.seal()
    telemetry.stuff()
    crc = binascii.crc_hqx(payload, 0xFFFF).to_bytes(2, "big")
    assert bytes(telemetry.frame) == b"\0" + cobs.encode(payload + crc) + b"\0"


# The content.


def test_every_measurement_arrives_in_its_own_field():
    sender = Sender()
    controller, inputs, counters = sender.rig.controller, sender.rig.inputs, sender.counters
    counters.steps, counters.worst_us, counters.overruns = 40_001, 1_234, 3
    controller.engagement.state = 2
    controller.faults.cause = 4
    controller.crank.standing = False
    controller.crank.backward_run = 0
    controller.crank.forward_run = 5
    controller.pedalling.cadence_rpm = 71
    controller.crank.pitch_us = 3_750_000
    sender.edges.taken = 513
    controller.crank.rejected = 7
    sender.edges.overruns = 2
    sender.edges.levels = 3
    controller.wheel.speed_mm_per_s = 6_944
    controller.selector.share_permille = 350
    controller.request.wanted_w = 251
    controller.ceilings.ceiling_w = 199
    controller.supply.power_w = 188
    controller.outputs.command_mv = 2_345
    controller.supply.battery_mv = 99_999
    controller.supply.current_ma = 70_000
    inputs.throttle_mv = 801
    inputs.selector_mv = 4_321
    inputs.motor_decicelsius = -123
    frame = sender.frame(now_us=123_456_789)
    assert frame.number == 0
    assert frame.time_us == 123_456_789
    assert (frame.steps, frame.worst_us, frame.overruns) == (40_001, 1_234, 3)
    assert frame.form == "bytecode"
    assert frame.state == "assisting"
    assert frame.fault == "throttle wire open"
    assert frame.direction == "forward"
    assert frame.cadence_rpm == 71
    assert frame.pitch_s == pytest.approx(3.75)
    assert (frame.edges, frame.rejected, frame.edges_lost, frame.levels) == (513, 7, 2, 3)
    assert frame.speed_m_per_s == pytest.approx(6.944)
    assert frame.share == pytest.approx(0.35)
    assert (frame.wanted_w, frame.ceiling_w, frame.power_w) == (251, 199, 188)
    assert frame.command_v == pytest.approx(2.345)
    assert frame.battery_v == pytest.approx(99.999)
    assert frame.current_a == pytest.approx(70.0)
    assert frame.throttle_v == pytest.approx(0.801)
    assert frame.selector_v == pytest.approx(4.321)
    assert frame.motor_celsius == pytest.approx(-12.3)


def test_each_flag_has_its_own_bit():
    sender = Sender()
    inputs, controller = sender.rig.inputs, sender.rig.controller
    names = ("brake_pulled", "drive_enabled", "settings_valid", "resting", "throttle_rest_seen")

    def flags(frame: Frame) -> tuple[bool, ...]:
        return tuple(getattr(frame, name) for name in names)

    inputs.brake_pulled = True
    assert flags(sender.frame()) == (True, False, True, False, False)
    inputs.brake_pulled = False
    controller.outputs.drive_enabled = True
    assert flags(sender.frame()) == (False, True, True, False, False)
    controller.outputs.drive_enabled = False
    controller.throttle.rest_seen = True
    assert flags(sender.frame(resting=True)) == (False, False, True, True, True)


def test_a_board_without_valid_settings_says_so_in_every_frame():
    rig = Rig()
    edges = RememberedEdges()
    telemetry = Telemetry(rig.controller, rig.inputs, edges, LoopCounters(), settings_valid=False, form=0)
    telemetry.measure(False, 0)
    telemetry.seal()
    telemetry.stuff()
    assert not decode(bytes(telemetry.frame)[1:-1]).settings_valid


@pytest.mark.parametrize(
    ("standing", "forward_run", "backward_run", "direction"),
    [
        (True, 9, 9, "standing"),
        (False, 0, 0, "standing"),
        (False, 1, 0, "forward"),
        (False, 0, 1, "backward"),
    ],
)
def test_the_direction_is_that_of_the_last_edges(standing, forward_run, backward_run, direction):
    sender = Sender()
    crank = sender.rig.controller.crank
    crank.standing, crank.forward_run, crank.backward_run = standing, forward_run, backward_run
    assert sender.frame().direction == direction


def test_what_is_too_large_for_its_field_arrives_as_the_largest_that_fits():
    sender = Sender()
    sender.rig.controller.supply.power_w = 100_000
    sender.rig.inputs.throttle_mv = -5
    sender.rig.inputs.motor_decicelsius = 40_000
    frame = sender.frame()
    assert frame.power_w == 65_535
    assert frame.throttle_v == 0.0
    assert frame.motor_celsius == pytest.approx(3_276.7)


def test_frames_are_numbered_and_the_number_wraps_at_256():
    sender = Sender()
    numbers = [sender.frame().number for _ in range(258)]
    assert numbers[:3] == [0, 1, 2]
    assert numbers[254:] == [254, 255, 0, 1]


def test_the_samples_are_the_levels_at_the_last_12_steps_oldest_first():
    sender = Sender()
    for levels in (1, 3, 2, 0, 1, 3, 2, 0, 1, 3, 2, 0, 1):
        sender.edges.levels = levels
        sender.counters.steps += 1
        sender.telemetry.sample()
        sender.telemetry.sample()  # Between two steps nothing new is noted.
    assert sender.frame().level_samples == (3, 2, 0, 1, 3, 2, 0, 1, 3, 2, 0, 1)


def test_steps_that_nobody_looked_at_count_with_the_levels_that_are_there_now():
    sender = Sender()
    sender.counters.steps = 65_535
    sender.edges.levels = 1
    sender.telemetry.sample()
    sender.counters.steps = 2  # Three steps on, across the wrap of the count.
    sender.edges.levels = 2
    sender.telemetry.sample()
    assert sender.frame().level_samples == (1, 1, 1, 1, 1, 1, 1, 1, 1, 2, 2, 2)


def test_a_rider_who_pedals_is_seen_in_the_frame():
    rig = Rig()
    sender = Sender(rig)
    rig.ready().run(3_000, rpm=60)
    frame = sender.frame()
    assert frame.state == "assisting"
    assert frame.direction == "forward"
    assert frame.cadence_rpm == 60
    # 3 s at 60 rpm on 12 pulses are 144 edges of two channels; the last may lie just ahead.
    assert 142 <= frame.edges <= 144


# What was remembered.


def test_512_edges_are_remembered_and_the_oldest_go_first():
    edges = RememberedEdges()
    for number in range(600):
        edges.record(number & 3, number)
        assert edges.take()
    assert not edges.take()
    assert edges.kept == 512
    assert edges.taken == 600
    assert (edges.levels_at(0), edges.time_us_at(0)) == (0, 88)
    assert (edges.levels_at(511), edges.time_us_at(511)) == (3, 599)


def test_while_it_is_read_out_the_memory_stands_still_and_the_log_does_not():
    edges = RememberedEdges()
    edges.record(1, 10)
    edges.take()
    edges.hold(True)
    edges.record(3, 20)
    assert edges.take()
    assert (edges.levels, edges.time_us) == (3, 20)
    assert (edges.kept, edges.taken) == (1, 2)
    edges.hold(False)
    edges.record(2, 30)
    edges.take()
    assert [edges.time_us_at(number) for number in range(edges.kept)] == [10, 30]


def test_the_count_of_edges_wraps_at_65536():
    edges = RememberedEdges()
    edges.taken = 65_535
    edges.record(1, 10)
    edges.take()
    assert edges.taken == 0


# The host's end.


@given(st.integers(0, 61), st.integers(1, 255))
def test_one_changed_byte_anywhere_is_noticed(at, change):
    code = bytearray(Sender().bytes()[1:-1])
    code[at] ^= change
    with pytest.raises(DamagedFrame):
        decode(bytes(code))


@given(st.binary(max_size=80))
def test_no_garbage_passes_for_a_frame(garbage):
    with pytest.raises(DamagedFrame):
        decode(garbage)


def coded(payload: bytes) -> bytes:
    return cobs.encode(payload + binascii.crc_hqx(payload, 0xFFFF).to_bytes(2, "big"))


def test_a_frame_of_another_kind_or_with_unknown_numbers_is_told_apart():
    with pytest.raises(OtherKind, match=r"^the kind of frame is 1, known is 2$"):
        decode(coded(b"\x01" + bytes(57)))
    with pytest.raises(OtherKind, match=r"^the kind of frame is 3, known is 2$"):
        decode(coded(b"\x03" + bytes(80)))
    with pytest.raises(DamagedFrame, match=r"^a frame has 61 bytes, these are 62$"):
        decode(coded(b"\x02" + bytes(59)))
    with pytest.raises(DamagedFrame, match=r"^a frame has 61 bytes, these are 59$"):
        decode(coded(b"\x01" + bytes(56)))
    with pytest.raises(DamagedFrame, match=r"^the CRC is wrong$"):
        decode(cobs.encode(b"\xff\xff"))
    unknown = bytearray(59)
    unknown[0], unknown[14], unknown[15], unknown[16] = 2, 66, 77, 99
    frame = decode(coded(bytes(unknown)))
    assert frame.form == "number 66"
    assert frame.state == "number 77"
    assert frame.fault == "number 99"


@given(st.lists(st.integers(1, 40), min_size=1, max_size=60))
def test_frames_and_lines_are_told_apart_however_the_bytes_arrive(cuts):
    sender = Sender()
    wire = Wire()
    stream = (
        sender.bytes()
        + b'{"ok": "about"}\n'
        + sender.bytes()
        + sender.bytes()
        + b"Traceback:\r\n  no\n"
        + sender.bytes()
    )
    found = []
    for cut in cuts:
        found += wire.feed(stream[:cut])
        stream = stream[cut:]
    found += wire.feed(stream)
    texts = [item for item in found if isinstance(item, str)]
    numbers = [item.number for item in found if isinstance(item, Frame)]
    assert texts == ['{"ok": "about"}', "Traceback:", "  no"]
    assert numbers == [0, 1, 2, 3]
    assert (wire.frames_lost, wire.damaged) == (0, 0)


def test_a_line_need_not_wait_for_the_next_frame():
    wire = Wire()
    assert wire.feed(b'{"ok"') == []
    assert wire.feed(b': "clear"}\n{"not') == ['{"ok": "clear"}']


def test_lost_and_damaged_frames_are_counted_and_what_was_joined_in_the_middle_is_not():
    sender = Sender()
    wire = Wire()
    wire.feed(sender.bytes()[20:])
    assert (wire.frames_lost, wire.damaged) == (0, 0)
    wire.feed(sender.bytes())
    sender.bytes()
    sender.bytes()
    wire.feed(sender.bytes())
    assert wire.frames_lost == 2
    wire.feed(sender.bytes()[:30] + b"\0")
    wire.feed(sender.bytes())
    assert wire.frames_lost == 3
    assert wire.damaged == 1


def test_a_board_that_starts_anew_has_lost_no_frames():
    wire = Wire()
    sender = Sender()
    for _ in range(5):
        wire.feed(sender.bytes())
    wire.feed(b'{"notice": "settings"}\n' + Sender().bytes())
    assert wire.frames_lost == 0


def test_noise_without_end_does_not_fill_the_memory():
    wire = Wire()
    for _ in range(101):
        wire.feed(b"\x01" * 1_000)
    assert wire.damaged == 1


# Memory.


def test_frames_recorder_and_stream_take_no_memory_under_micropython():
    # The interpreter raises MemoryError where anything is allocated.
    assert run("tests/link_heap.py").decode().splitlines() == [
        "blocks lost 11 frozen 2",
        "units 76",
        "bytes 10240",
        "edges 600",
        "bytes in 149",
    ]


def test_a_controller_without_an_edge_yet_has_a_frame_too():
    inputs = Inputs()
    edges = RememberedEdges()
    controller = Controller(Rig().settings, 0)
    telemetry = Telemetry(controller, inputs, edges, LoopCounters(), settings_valid=True, form=0)
    telemetry.sample()
    telemetry.measure(True, 0)
    telemetry.seal()
    telemetry.stuff()
    frame = decode(bytes(telemetry.frame)[1:-1])
    assert frame.state == "waiting"
    assert frame.brake_pulled
    assert frame.level_samples == (0,) * 12
