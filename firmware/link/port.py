"""The byte stream to a host, as the firmware sees it."""


class Port:
    """A serial port, or standard input and output. A board has one with these four methods; none may wait."""

    def readable(self) -> bool:
        """Tell whether a byte can be read at once."""
        raise NotImplementedError

    def read_byte(self) -> int:
        """Return the next byte, 0 to 255; -1 if the other side has closed."""
        raise NotImplementedError

    def writable(self) -> bool:
        """Tell whether a byte can be written at once."""
        raise NotImplementedError

    def write_byte(self, value: int) -> None:
        """Write one byte, 0 to 255."""
        raise NotImplementedError
