"""Messages for the user: a sentence on standard error, or an error as JSON if JSON is asked for."""

import json
import sys
from typing import NoReturn


def say(sentence: str) -> None:
    """Print a sentence on standard error, above the progress bar if there is one."""
    print(f"treadle: {sentence}", file=sys.stderr)


def complain(sentence: str, code: int) -> None:
    """Say why the program ends without a result.

    With --json, print one object on standard output, {"error": SENTENCE, "exit_code": CODE}, and nothing on
    standard error. Without it, print the sentence on standard error.
    """
    if json_wanted():
        print(json.dumps({"error": sentence, "exit_code": code}), flush=True)
    else:
        say(sentence)


def end(sentence: str, code: int) -> NoReturn:
    """Exit with a code, and with a sentence if there is one."""
    if sentence:
        complain(sentence, code)
    sys.exit(code)


def json_wanted() -> bool:
    """Return whether --json was given, from the raw arguments, since a wrong command line is not parsed."""
    return "--json" in sys.argv[1:]
