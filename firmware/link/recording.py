"""Answers a host's requests to the recorder: send its blocks, freeze them, release them."""

from firmware.link.lines import line_of
from firmware.link.recorder import Recorder
from firmware.link.stream import Stream
from firmware.link.writing import SEQUENCE_AT

STREAM = "stream"
STREAM_ALL = "stream all"
FREEZE = "freeze"
RELEASE = "release"
RECORDING_REQUESTS = (STREAM, STREAM_ALL, FREEZE, RELEASE)


class Recording:
    """The recorder, its stream, and the answers about them that are built at the start."""

    __slots__ = ("_recorder", "_stream", "_stream_all_answer", "_stream_answer")

    def __init__(self, recorder: Recorder, stream: Stream) -> None:
        """Build the answers that are sent while riding."""
        self._recorder = recorder
        self._stream = stream
        self._stream_answer = line_of('"ok": "stream"')
        self._stream_all_answer = line_of('"ok": "stream all"')

    def answer(self, request: str) -> bytes:
        """Carry out one of RECORDING_REQUESTS; return the answer."""
        if request == FREEZE:
            return self._freeze()
        if request == RELEASE:
            self._recorder.ring.release()
            return line_of('"ok": "release"')
        return self.send(request == STREAM_ALL)

    def send(self, from_oldest: bool) -> bytes:
        """Start the stream; return the answer. Allocates no memory."""
        self._stream.listen(from_oldest)
        return self._stream_all_answer if from_oldest else self._stream_answer

    def check_released(self) -> None:
        """Raise ValueError if something is frozen, which a new start would lose."""
        if self._recorder.ring.frozen > 0:
            raise ValueError("the recorder keeps something: read it, and then release it")

    def _freeze(self) -> bytes:
        """Freeze what is recorded; return how many blocks that is, and the sequence number of the oldest."""
        self._recorder.freeze()
        ring = self._recorder.ring
        first = ring.first_frozen()
        number = first[SEQUENCE_AT] | first[SEQUENCE_AT + 1] << 8
        return line_of('"ok": "freeze", "blocks": ' + str(ring.frozen) + ', "first": ' + str(number))
