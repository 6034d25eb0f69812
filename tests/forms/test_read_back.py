"""The generated C, read by a parser of C, says what the sources say; and what is changed in it shows."""

import pytest

from host_sim.forms.c.form import c_form
from host_sim.forms.program import read_firmware
from tests.forms.c_mutants import alone, mutants_of, sampled
from tests.forms.planted import ERRORS
from tests.forms.read_back import differences, sources
from tests.quick_first import quick_first

RANGES = "ranges of settings are one too wide"


@pytest.fixture(scope="module")
def form(program):
    return c_form(program)


def written_to(folder, header, source):
    (folder / "assist.h").write_text(header, encoding="utf-8")
    (folder / "assist.c").write_text(source, encoding="utf-8")
    return folder


def test_every_function_of_the_c_form_does_what_its_source_does(form_folder):
    assert differences(form_folder) == []
    assert len(sources()) > 140
    assert {"Controller_step", "OutputGuard_permit", "EdgeLog_record", "clamp"} <= sources().keys()


@pytest.mark.long
@pytest.mark.parametrize("error", [name for name in ERRORS if name != RANGES])
def test_a_planted_error_of_the_translator_shows(form_folder, tmp_path, monkeypatch, error):
    with monkeypatch.context() as patch:
        ERRORS[error](patch)
        form = c_form(read_firmware())
    assert differences(written_to(tmp_path, form.header, form.source)), error


@pytest.mark.long
def test_mutants_of_the_c_show(form, tmp_path):
    mutants = list(mutants_of(form.source))
    assert len(mutants) > 1_300
    for mutant in sampled(mutants, 40):
        name, text = alone(form.source, mutant)
        assert differences(written_to(tmp_path, form.header, text), name), mutant.name


def test_a_function_alone_reads_as_in_the_whole(form, tmp_path):
    for mutant in sampled(list(mutants_of(form.source)), 6):
        name, text = alone(form.source, mutant, changed=False)
        assert differences(written_to(tmp_path, form.header, text), name) == []


@pytest.mark.parametrize(
    ("before", "after"),
    quick_first(
        2,
        [
            ("int32_t pitch_us;", "int16_t pitch_us;"),  # Too few bits for its numbers.
            ("int32_t _kind_us[4];", "int32_t _kind_us[3];"),
            ("int32_t pitch_us;", "bool pitch_us;"),
            ("Rotation _rotation;", "Wheel *_rotation;"),
            # Arguments in another order.
            (
                "(EdgeLog *self, int32_t levels, int32_t time_us)",
                "(EdgeLog *self, int32_t time_us, int32_t levels)",
            ),
            ("int32_t place = self->_write;", "bool place = self->_write;"),  # A variable of too few bits.
            ("int32_t place = self->_write;", "int16_t place = self->_write;"),
            ("int32_t place = self->_write;", "uint32_t place = self->_write;"),
            (
                "int32_t place = self->_write;",
                "static int32_t place = self->_write;",
            ),  # It would be remembered.
            ("int32_t age_us = ", "bool age_us = "),
        ],
    ),
)
def test_fields_and_variables_of_another_kind_and_arguments_in_another_order_show(
    form, tmp_path, before, after
):
    header, source = (text.replace(before, after) for text in (form.header, form.source))
    assert (header, source) != (form.header, form.source)
    assert differences(written_to(tmp_path, header, source))
