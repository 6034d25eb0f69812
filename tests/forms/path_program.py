"""The C program that makes the calls of the proofs' path vectors, and the file of calls that it reads.

The file is a row of little-endian words of 32 bits. A call is: its entry; how many arguments, and these; the
result; how many numbers are not as built, and place and value of each; how many the call changes, and the
same of these.
"""

from collections.abc import Callable, Iterable
from pathlib import Path
from struct import pack

from host_sim.forms.c.names import Names
from host_sim.forms.c.signature import may_refuse
from host_sim.forms.model import BOOL, Program
from tests.forms.path_calls import Call, Entry, PathCalls

END = 0xFFFFFFFF


def encoded(calls: Iterable[Call], place_of: Callable[[int], int] = lambda place: place) -> bytes:
    """Return calls as a file has them; `place_of` renames places."""
    words: list[int] = []
    for call in calls:
        words += [call.entry, len(call.arguments), *call.arguments, call.result]
        for numbers in (call.before, call.after):
            words.append(len(numbers))
            for place, value in numbers:
                words += [place_of(place), value]
    words.append(END)
    return pack(f"<{len(words)}I", *[word & END for word in words])


def path_program(program: Program, paths: PathCalls) -> str:
    """Return the program: it includes `assist.c`, to reach what is static."""
    names = Names(program)
    cases = []
    for number, entry in enumerate(paths.entries):
        cases += [f"    case {number}:", f"        {_case(program, names, entry)};", "        break;"]
    text = Path(__file__).with_name("path_check.c").read_text(encoding="utf-8")
    places = [f"    {{(void *)&{name}, sizeof {name}}}," for name in paths.places.names]
    return text.replace("/*PLACES*/", "\n".join(places)).replace("/*CASES*/", "\n".join(cases))


def _case(program: Program, names: Names, entry: Entry) -> str:
    function = program.functions[entry.label]
    objects = dict(entry.objects)
    given = [f"&{entry.receiver}"] if entry.receiver else []
    numbers = 0
    for name, kind in function.parameters.items():
        if name in objects:
            given.append(f"&{objects[name]}")
        else:
            given.append(f"arguments[{numbers}]{' != 0' if kind == BOOL else ''}")
            numbers += 1
    call = f"{names.function(function)}({', '.join(given)})"
    if may_refuse(program, function):
        return f"result = {call} ? 0 : -1"
    return f"result = {call}" if function.returns.kind in ("int", "bool") else f"(void){call}"
