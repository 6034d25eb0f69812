"""A `machine`, a `pyb` and a clock without hardware, for CPython and for MicroPython.

`install(port)` puts them in place; `hardware` is the world outside the pins: what is connected to them,
what the converters see, what time it is. An interrupt or a timer runs its handler in a critical section
that locks the heap: under MicroPython a handler that takes memory raises MemoryError there. Whatever a
test may want to know is written into `hardware.story` in its order.
"""

import sys

try:
    import micropython

    _lock = micropython.heap_lock
    _unlock = micropython.heap_unlock
except (ImportError, AttributeError):
    micropython = None

    def _lock():
        """CPython has no heap to lock."""

    def _unlock():
        """CPython has no heap to unlock."""


TICKS_MASK = (1 << 30) - 1


class Unplugged(Exception):
    """The end of a test's board."""


class Hardware:
    """The world outside the pins."""

    def __init__(self, port):
        self.port = port
        self.now_us = 0
        self.connected = {}  # Pin to level; a pin that is not here floats, and its pull decides.
        self.volts = {}  # Pin (times 10, plus channel, behind a multiplexer) to 0 ... 65535, or microvolts.
        self.driven = {}  # Pin to the level or reading that the board puts out.
        self.handlers = {}
        self.timers = []
        self.watchdogs = []
        self.story = []
        self.readings_left = -1  # So many converter readings, then the board is unplugged; -1 for ever.
        self.multiplexer = None  # The pins of converter, low and high bit of the channel.
        self.reading_us = 0  # How long a converter takes.
        self.number = int  # Makes the numbers that readings are.

    def tell(self, *words):
        self.story.append(" ".join([str(word) for word in words]))

    def advance(self, span_us):
        """Let time pass, and call the timers that are due, a microsecond late."""
        end_us = self.now_us + span_us
        while True:
            due = [timer for timer in self.timers if timer.due_us <= end_us]
            if not due:
                break
            first = min(due, key=lambda timer: timer.due_us)
            self.now_us = first.due_us
            first.due_us += first.period_us
            in_critical_section(first.handler, first)
        self.now_us = end_us

    def set_level(self, pin, level):
        """Connect a pin to a level, and raise its interrupt if that changed what it reads."""
        before = self.level_of(pin)
        self.connected[pin] = level
        if level != before and pin in self.handlers:
            in_critical_section(self.handlers[pin], pin)

    def level_of(self, pin):
        if pin in self.connected:
            return self.connected[pin]
        return 1 if Pin.pulled_up.get(pin) else 0

    def reading(self):
        if self.readings_left == 0:
            raise Unplugged
        self.readings_left -= 1
        if self.reading_us > 0:
            self.advance(self.reading_us)


def in_critical_section(handler, argument):
    """Call a handler as a hard interrupt would: nothing may take memory."""
    _lock()
    try:
        handler(argument)
    finally:
        _unlock()


hardware = Hardware("rp2")


def ticks_us():
    """Raw ticks, as a 64-bit build has them: not wrapped."""
    return hardware.number(hardware.now_us & TICKS_MASK)


class Pin:
    IN = 0
    OUT = 1
    PULL_UP = 1
    PULL_DOWN = 2
    IRQ_RISING = 1
    IRQ_FALLING = 2
    pulled_up = {}  # noqa: RUF012

    def __init__(self, pin, mode=-1, pull=-1, value=None):
        self.name = pin
        Pin.pulled_up[pin] = pull == Pin.PULL_UP
        if value is not None:
            hardware.tell("pin", pin, value)
            hardware.driven[pin] = value

    def value(self, level=None):
        if level is None:
            return hardware.level_of(self.name)
        hardware.driven[self.name] = level
        return None

    def irq(self, handler=None, trigger=0, hard=None):
        if hardware.port == "esp32" and hard is not None:
            raise TypeError("extra keyword arguments given")
        if trigger != (Pin.IRQ_RISING | Pin.IRQ_FALLING):
            raise ValueError("both edges count")
        hardware.tell("irq", self.name, "hard" if hard else "soft")
        hardware.handlers[self.name] = handler


class ADC:
    ATTN_11DB = 3

    def __init__(self, pin, atten=None):
        if not isinstance(pin, Pin):
            raise TypeError("a converter wants a Pin")
        if (atten is not None) != (hardware.port == "esp32"):
            raise TypeError("attenuation is for the ESP32, and needed there")
        self.name = pin.name

    def _source(self):
        hardware.reading()
        select = hardware.multiplexer
        if select is None or self.name != select[0]:
            return hardware.number(hardware.volts.get(self.name, 0))
        channel = hardware.driven.get(select[1], 0) + 2 * hardware.driven.get(select[2], 0)
        return hardware.number(hardware.volts.get(self.name * 10 + channel, 0))

    def read_u16(self):
        return self._source()

    def read_uv(self):
        if hardware.port != "esp32":
            raise AttributeError("read_uv")
        return self._source()


class PWM:
    def __init__(self, pin, freq=0, duty_u16=0):
        if freq < 20_000:
            raise ValueError("a filter needs a high frequency")
        self.name = pin.name
        self.duty_u16(duty_u16)

    def duty_u16(self, duty):
        if not 0 <= duty <= 65_535:
            raise ValueError("duty out of range")
        hardware.driven[self.name] = duty


class DAC:
    """The ESP32's, with eight bits, and the pyboard's, with twelve."""

    def __init__(self, pin, bits=8, buffering=None):
        self.highest = (1 << bits) - 1
        self.name = pin.name if isinstance(pin, Pin) else "DAC" + str(pin)
        self.write(0)

    def write(self, value):
        if not 0 <= value <= self.highest:
            raise ValueError("value out of range")
        hardware.driven[self.name] = value


class WDT:
    def __init__(self, id=0, timeout=5000):
        if not 1 <= timeout <= 8_388:
            raise ValueError("timeout out of range")
        self.timeout = timeout
        self.feeds = 0
        hardware.watchdogs.append(self)
        hardware.tell("watchdog", timeout)

    def feed(self):
        self.feeds += 1
        if self.feeds == 1:
            hardware.tell("first feed")


class Timer:
    """The ports' machine.Timer, set up by `init`, and the pyboard's, by `freq` and `callback`."""

    PERIODIC = 1
    ONE_SHOT = 0

    def __init__(self, number=-1, freq=None):
        self.handler = None
        self.period_us = 0 if freq is None else 1_000_000 // freq
        self.due_us = 0

    def init(self, mode=1, period=-1, callback=None, hard=None):
        if hardware.port == "esp32" and hard is not None:
            raise ValueError("hard Timers are not implemented")
        if mode != Timer.PERIODIC:
            raise ValueError("the output must expire again and again")
        self.period_us = period * 1000
        self.callback(callback)

    def callback(self, handler):
        self.handler = handler
        self.due_us = hardware.now_us + self.period_us
        hardware.timers.append(self)


class Module:
    """Replaces a module where there is no other way."""


def reset():
    hardware.tell("reset")
    raise Unplugged


def install(port):
    """Put a fresh world in place, under the names that boards import; return it."""
    hardware.__init__(port)
    Pin.pulled_up = {}
    machine = Module()
    for thing in (Pin, ADC, PWM, WDT, Timer, DAC):
        setattr(machine, thing.__name__, thing)
    machine.reset = reset
    sys.modules["machine"] = machine
    pyb = Module()
    pyb.DAC = DAC
    pyb.Timer = Timer
    sys.modules["pyb"] = pyb
    return hardware


def sleep_us(span_us):
    """Let time pass."""
    hardware.now_us += span_us
