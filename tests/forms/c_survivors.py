"""Mutants of the generated C that these vectors don't notice, and why that is no gap."""

_BEHIND = (
    "Writes one place further, into a field that is set afterwards; a sanitizer stops it (test_c_form.py)."
)
_RIDES = "The vectors in the folder of `treadle bundle --form c` notice it."
SURVIVORS: dict[str, str] = {
    "} else if (self->feed_forward.seek_mv > 0) {: > -> >=": (
        "Without a search its rate is 0, and `seek` then does what `step` does."
    ),
    "} else if (self->feed_forward.seek_mv > 0) {: 0 -> 1": (
        "A search aims at the start of the command or more, never at 1 mV."
    ),
    "return value < 0 ? -value : value;: < -> <=": "0 is -0.",
    "return value < 0 ? -value : value;: 0 -> 1": "0 is -0.",
    "return other > one ? other : one;: > -> >=": "Either of two equal numbers is the larger.",
    "return other < one ? other : one;: < -> <=": "Either of two equal numbers is the smaller.",
    "int32_t bit = (int32_t)1 << 14;: 14 -> 15": "Values go to 2**29, and the square of 2**15 is more.",
    "for (int32_t index = 0; index < 64; index++) {: < -> <=": _BEHIND,
    "for (int32_t index = 0; index < 64; index++) {: 64 -> 65": _BEHIND,
    "self->fallen = steep && command_mv > mean_mv - FALL_COMMAND_MV;: - -> +": _RIDES,
    "return throttle_drives ? THROTTLE : NOTHING;: THROTTLE -> (THROTTLE + 1)": _RIDES,
    "if (settings->throttle_fitted == 0 || !self->_throttle_rest_seen) {: ! -> ": _RIDES,
    (
        "int32_t furthest_mv = MotorModel_command_for(model, floor_di"
        "v(model->back_emf_mv * FURTHEST_PERMILLE, 1000): 1000 -> 1001"
    ): _RIDES,
}
