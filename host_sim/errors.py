"""Errors that a user sees: one sentence, never a traceback."""


class RequestError(Exception):
    """A request that is wrong; its text is one sentence that names the place, the value and what is allowed.

    The command line prints the text and exits with code 2.
    """


class ControllerFailed(RequestError):
    """A controller that is not ours violated the interface; one sentence says how."""
