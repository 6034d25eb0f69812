"""A name that nobody knows gets the one that was most likely meant."""

import pytest

from host_sim.near_names import nearest


@pytest.mark.parametrize(
    ("name", "known", "meant"),
    [
        (
            "eu_pedelec",
            ("us_federal", "eu", "uk"),
            "eu",
        ),  # Begins like it, although others share more letters.
        ("us_class", ("us_class_1", "eu"), "us_class_1"),
        ("tandm", ("tandem", "folding"), "tandem"),
        ("bytecode2", ("bytecode", "native"), "bytecode"),
        ("zzz", ("tandem", "folding"), ""),
        ("", ("tandem",), ""),
        ("tandem", (), ""),
    ],
)
def test_the_nearest_name(name, known, meant):
    assert nearest(name, known) == meant
