"""`check.c`: the program that replays vectors, with the parts that are generated from the classes."""

from pathlib import Path

from host_sim.forms.model import Class, Field, Program
from host_sim.forms.vectors import plain_fields

TEMPLATES = Path(__file__).with_name("templates")


def check_source(program: Program) -> str:
    """Return `check.c`."""
    records = [kind for kind in program.border() if not kind.declared]
    folded = [kind for kind in program.classes.values() if not kind.declared]
    inputs, outputs = program.classes["Inputs"], program.classes["Outputs"]
    assert inputs in records
    assert outputs in records
    settings = program.classes["Settings"]
    parts = {
        "FOLDS": "\n".join(line for kind in folded for line in _fold(kind)),
        "READ_SETTINGS": "\n".join(f"    to->{name} = read_word();" for name in plain_fields(settings)),
        "READ_INPUTS": "\n".join(_read_field(inputs.fields[name]) for name in plain_fields(inputs)),
        "COMPARE_OUTPUTS": "\n".join(
            f'    differs |= unequal("{name}", outputs->{name}, read_word());'
            for name in plain_fields(outputs)
        ),
    }
    text = (TEMPLATES / "check.c").read_text(encoding="utf-8")
    for name, part in parts.items():
        text = text.replace(f"/*{name}*/", part)
    return text


def _read_field(field: Field) -> str:
    return f"    to->{field.name} = read_word(){' != 0' if field.type.kind == 'bool' else ''};"


def _fold(kind: Class) -> list[str]:
    """Return the function that adds one object to the digest: what it owns, in the order of its fields."""
    lines = [f"static void fold_{kind.name}(const {kind.name} *self)", "{"]
    for field in kind.fields.values():
        if field.type.kind == "numbers":
            lines.append(f"    for (int32_t index = 0; index < {field.type.dims[0]}; index++) {{")
            lines += [f"        fold(self->{field.name}[index]);", "    }"]
        elif field.type.kind == "object" and field.owned:
            lines.append(f"    fold_{field.type.name}(&self->{field.name});")
        elif field.type.kind != "object":
            lines.append(f"    fold(self->{field.name});")
    return [*lines, "}", ""]
