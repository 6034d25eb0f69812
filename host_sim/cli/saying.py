"""What a user should know: a sentence on standard error, or, where JSON is asked for, an error as JSON."""

import json
import sys


def say(sentence: str) -> None:
    """Say it; above the progress bar, where one is shown."""
    print(f"treadle: {sentence}", file=sys.stderr)


def complain(sentence: str, code: int) -> None:
    """Say why the program ends without a result.

    With --json that is one object on standard output, {"error": SENTENCE, "exit_code": CODE}, and nothing on
    standard error; else the sentence on standard error.
    """
    if json_wanted():
        print(json.dumps({"error": sentence, "exit_code": code}), flush=True)
    else:
        say(sentence)


def json_wanted() -> bool:
    """Tell whether --json was given. Looked up here, since a wrong command line is never parsed."""
    return "--json" in sys.argv[1:]
