"""What a user asked for can't be done: said in one sentence, never as a traceback."""


class RequestError(Exception):
    """A request that is wrong; its text is one sentence that names the place, the value and what is allowed.

    The command line prints the text and exits with code 2.
    """


class ControllerFailed(RequestError):
    """A controller that is not ours did not do what a controller does; one sentence says what."""
