"""VCD files: time scales, variables, values that are no levels, and files that break off."""

import pytest

from host_sim.capture import blocks
from host_sim.capture.open_capture import open_capture
from host_sim.errors import RequestError
from tests.capture_files.making import FORWARD, VCD, VCD_HEADER, edges_of, read, written

TO_1 = [(0, 0), (1_000, 1)]
TO_5 = [(0, 0), (5_000, 1)]

VECTOR_HEADER = """$timescale 1 ns $end
$scope module top $end
$var wire 8 # port [7:0] $end
$var wire 4 % turned [0:3] $end
$var wire 4 & plain $end
$var real 1 r volts $end
$var wire 1 ! clock $end
$upscope $end
$enddefinitions $end
"""


def test_changes_come_as_edges_with_the_levels_of_both_channels(tmp_path):
    capture = open_capture(written(tmp_path, VCD))
    assert (capture.form, capture.channels) == ("VCD", ("A", "B"))
    assert edges_of(capture) == FORWARD
    assert edges_of(capture) == FORWARD  # As often as one likes.
    assert (capture.damage, capture.duration_ns) == ("", 40_000_000)


@pytest.mark.parametrize(
    ("timescale", "time", "time_ns"),
    [
        ("1 s", 3, 3_000_000_000),
        ("100 ms", 3, 300_000_000),
        ("10ms", 3, 30_000_000),
        ("1\tus", 3, 3_000),
        ("100 ns", 3, 300),
        ("1 ns", 3, 3),
        ("100 ps", 3, 0),
        ("10 ps", 255, 3),
        ("1 ps", 1_499, 1),
        ("1 ps", 1_500, 2),
        ("1 fs", 123_456_789_000, 123_457),
        ("100 fs", 999_999_999_999_999_999, 100_000_000_000_000),
    ],
)
def test_every_time_scale_from_femtoseconds_to_seconds_comes_to_the_nearest_nanosecond(
    tmp_path, timescale, time, time_ns
):
    header = VCD_HEADER.replace("1 us", timescale)
    assert read(written(tmp_path, header + f'#0 0! 0" #{time} 1!'))[-1] == (time_ns, 1)


@pytest.mark.parametrize(
    ("channels", "edges"),
    [
        (("port[0]", "port[1]"), [(0, 0), (5, 1), (9, 3)]),
        (("top.port[1]",), [(0, 0), (9, 1)]),
        (("port[7]",), [(0, 0), (9, 1), (12, 0)]),
        (("turned[3]",), [(0, 0), (7, 1)]),  # [0:3]: bit 3 stands on the right.
        (("turned[0]",), [(0, 1), (7, 0)]),
        (("plain[2]", "clock"), [(0, 0), (3, 2), (8, 3)]),
    ],
)
def test_a_bit_of_a_vector_is_picked_by_its_number(tmp_path, channels, edges):
    changes = "#0 b0 # b1000 % b0 & r1.5 r 0!\n#3 1!\n#5 b1 #\n#7 b1 %\n#8 b0100 &\n"
    changes += "#9 b10000011 #\n#12 b11 # r2 r\n"
    assert read(written(tmp_path, VECTOR_HEADER + changes), channels) == edges


def test_a_vector_is_extended_to_the_left_by_zeros_or_by_x_or_z(tmp_path):
    # IEEE 1364, extension of values in a dump: "10" stands for 0010, "x10" for xx10, "z0" for zzz0 and
    # "0x10" for 0x10. From memory.
    for value, levels in (("b10", 0), ("bx10", None), ("bz0", None), ("b0x10", 0), ("b1010", 1)):
        path = written(tmp_path, VECTOR_HEADER + f"#0 b1000 &\n#5 {value} &\n#6 b1000 &\n")
        capture = open_capture(path, ("plain[3]",))
        found = edges_of(capture)
        assert found == ([(0, 1), (5, 0), (6, 1)] if levels == 0 else [(0, 1)]), value
        assert capture.unknown_values == (1 if levels is None else 0)


def test_the_only_variable_of_one_bit_is_taken(tmp_path):
    assert open_capture(written(tmp_path, VECTOR_HEADER + "#0 0!")).channels == ("clock",)


def test_a_name_with_its_scopes_tells_two_of_one_name_apart(tmp_path):
    header = VCD_HEADER.replace(
        "$upscope $end", "$upscope $end $scope module desk $end $var wire 1 % A $end $upscope $end"
    )
    path = written(tmp_path, header + '#0 0! 0" 1%\n#5 1"\n')
    assert read(path, ("desk.A", "B")) == [(0, 1), (5_000, 3)]
    with pytest.raises(
        RequestError, match=r"^capture: more than one of its variables is called 'A', allowed is"
    ):
        open_capture(path, ("A",))


def test_levels_that_are_none_keep_the_one_before_and_are_counted(tmp_path):
    path = written(tmp_path, VCD_HEADER + '#0 x! z" #1 1! #2 x! #3 1" #4 z! X" #5 0! #6 U! W" #7 -!')
    capture = open_capture(path)
    assert edges_of(capture) == [(0, 0), (1_000, 1), (3_000, 3), (5_000, 2)]
    assert capture.unknown_values == 8
    assert capture.duration_ns == 7_000


def test_weak_levels_count_as_levels(tmp_path):
    assert read(written(tmp_path, VCD_HEADER + '#0 L! h" #1 H!')) == [(0, 2), (1_000, 3)]


def test_of_several_values_at_one_moment_the_last_counts(tmp_path):
    assert read(written(tmp_path, VCD_HEADER + '#0 0! 0" #5 1! 0! #6 1! #6 1" #7')) == [(0, 0), (6_000, 3)]


def test_time_begins_with_the_first_time_of_the_file(tmp_path):
    path = written(tmp_path, VCD_HEADER + '#1000 #1005 0! 1" #1010 1! #1500')
    capture = open_capture(path)
    assert edges_of(capture) == [(0, 0), (5_000, 2), (10_000, 3)]
    assert capture.duration_ns == 500_000


def test_values_before_the_first_time_hold_from_zero_on(tmp_path):
    assert read(written(tmp_path, VCD_HEADER + '1! 0" #7 0!')) == [(0, 1), (7_000, 0)]


@pytest.mark.parametrize("block_bytes", [1, 2, 7, 64, 1 << 19])
def test_comments_are_passed_over_wherever_a_block_ends(tmp_path, monkeypatch, block_bytes):
    monkeypatch.setattr(blocks, "BLOCK_BYTES", block_bytes)
    text = '#0 0! 0" $comment #9 1! not $endless $end #1 1!\n$comment\n#3\n0!\n$end\n#2\n1" $comment x $end\n'
    assert read(written(tmp_path, VCD_HEADER + text)) == [(0, 0), (1_000, 1), (2_000, 3)]


def test_a_code_may_look_like_anything(tmp_path):
    header = """$timescale 1 ns $end $var wire 2 b1 A[1:0] $end $var wire 1 #5 B $end $enddefinitions $end
"""
    assert read(written(tmp_path, header + "#0 b00 b1 0#5 b1 b1 #3 b10 b1 b1 #5 #4"), ("A[0]", "B")) == [
        (0, 1),
        (3, 2),
    ]


def test_a_longer_code_that_begins_alike_is_another_variable(tmp_path):
    header = VCD_HEADER.replace("$upscope", "$var wire 1 !! C $end $var wire 2 !# D $end $upscope")
    path = written(tmp_path, header + '#0 0! 0" #1 1!! #2 b11 !# #3 1!')
    assert read(path, ("A", "B")) == [(0, 0), (3_000, 1)]


def test_one_value_can_be_read_as_both_channels_of_two_names(tmp_path):
    header = VCD_HEADER.replace("$upscope", "$var wire 1 ! A2 $end $upscope")
    assert read(written(tmp_path, header + "#0 0! #1 1!"), ("A", "A2")) == [(0, 0), (1_000, 3)]


@pytest.mark.parametrize(
    ("changes", "damage", "edges"),
    [
        ('#0 0! 0"\n#5 1!\nnonsense\n#6 0!', "line 9: 'nonsense' is not a time, value or keyword", TO_5),
        ('#0 0! 0"\n#5 1!\n#4 0!', "line 9: '#4' is earlier than the time before it", TO_5),
        ('#0 0! 0"\n#5 1! #1x 0!', "line 8: '#1x' is not a time", TO_5),
        ('#0 0! 0"\n#-5 1!', "line 8: '#-5' is not a time", [(0, 0)]),
        ('#0 0! 0"\n#1234567890123456789 1!', "line 8: '#1234567890123456789' is not a time, ", [(0, 0)]),
        ('#0 0! 0"\n#99999999999999999 1!', "line 8: '#99999999999999999' is beyond 285 years", [(0, 0)]),
        ('#0 0! 0"\n#1 1! 2!', "line 8: '2!' is not a time, value or keyword", TO_1),
        ('#0 0! 0"\n#1 1! 0', "line 8: '0' is not a time, value or keyword", TO_1),
        ('#0 0! 0"\n#1 1! b0 ', "line 8: the file ends after 'b0', a value of no variable", TO_1),
        ('#0 0! 0"\n#1 1!\n$comment #2', "line 9: the file ends inside a $comment", TO_1),
        ('#0 0! 0"\n#1 1! $var wire', "line 8: '$var' is not a time, value or keyword", TO_1),
        ('#0 0! 0"\n#1 1!\n\0\0\0\0', r"line 9: '\x00\x00\x00\x00' is not a time", TO_1),
        ('#0 0! 0"\n#1 1! b !', "line 8: 'b' is not a value of this variable", TO_1),
        ('#0 0! 0"\n#1 1! b2 !', "line 8: 'b2' is not a value of this variable", TO_1),
    ],
)  # fmt: skip
@pytest.mark.parametrize("block_bytes", [5, 1 << 19])
def test_a_broken_file_is_read_up_to_the_damage(tmp_path, monkeypatch, block_bytes, changes, damage, edges):
    monkeypatch.setattr(blocks, "BLOCK_BYTES", block_bytes)
    capture = open_capture(written(tmp_path, VCD_HEADER + changes))
    assert edges_of(capture) == edges
    assert capture.damage.startswith(f"capture {damage}")


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (VCD_HEADER, "capture: no level of A and B is in it"),
        (VCD_HEADER + "#0 #5 1%", "capture: no level of A and B is in it"),
        (
            VCD_HEADER + "?what",
            "capture line 7: '?what' is not a time, value or keyword; what follows is not read",
        ),
    ],
)
def test_a_file_without_levels_is_refused(tmp_path, text, sentence):
    with pytest.raises(RequestError) as refusal:
        edges_of(open_capture(written(tmp_path, text)))
    assert str(refusal.value) == sentence


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (VCD[:60], ": the VCD header does not end, $enddefinitions $end is missing: it may be cut off"),
        (VCD.replace("1 us", "1 week"), " line 1: the VCD header is broken (Invalid $timescale unit: week"),
        (VCD.replace("1 us", "3 us"), ": $timescale is 3 us, allowed is 1, 10 or 100 of a unit"),
        (VCD.replace("$timescale 1 us", "$date"), ": the VCD header has no $timescale, allowed is one from"),
        (VCD.replace("wire 1 !", "wire ! 1"), " line 3: the VCD header is broken (Expected decimal value)"),
        (VCD.replace("wire 1 !", f"wire {'9' * 5000} !"), ": the VCD header holds a number with too many"),
        (VECTOR_HEADER.replace("wire 1 !", "wire 2 !"), ": it has 0 variables of one bit, allowed is"
         " --channels with one or two of top.port[7:0], top.turned[0:3], top.plain, top.clock"),
    ],
)  # fmt: skip
def test_a_header_that_makes_no_sense_is_refused(tmp_path, text, sentence):
    with pytest.raises(RequestError) as refusal:
        open_capture(written(tmp_path, text))
    assert str(refusal.value).startswith(f"capture{sentence}")


@pytest.mark.parametrize(
    ("channels", "sentence"),
    [
        (
            ("C",),
            "capture: none of its variables is called 'C', allowed is one or two of top.port[7:0],",
        ),
        (("port",), "capture: 'top.port[7:0]' has 8 bits, allowed is one of them, such as top.port[0]"),
        (("port[8]",), "capture: 'top.port[7:0]' has no bit 8, allowed is 0 to 7"),
        (("volts",), "capture: 'top.volts' is of the type real, allowed is one that has levels"),
        (("clock", "clock"), "--channels is 'clock,clock', allowed is one or two different names, A first"),
        (("a", "b", "c"), "--channels is 'a,b,c', allowed is one or two different names, A first"),
        (("",), "--channels is '', allowed is one or two different names, A first"),
    ],
)
def test_a_channel_that_is_not_there_is_refused_with_those_that_are(tmp_path, channels, sentence):
    with pytest.raises(RequestError) as refusal:
        open_capture(written(tmp_path, VECTOR_HEADER + "#0 0!"), channels)
    assert str(refusal.value).startswith(sentence)


def test_progress_is_told_in_bytes(tmp_path, monkeypatch):
    monkeypatch.setattr(blocks, "BLOCK_BYTES", 16)
    told = []
    path = written(tmp_path, VCD)
    list(open_capture(path, done=lambda done, all_of_it: told.append((done, all_of_it))).chunks())
    assert told == sorted(told)
    assert told[-1] == (path.stat().st_size, path.stat().st_size)
