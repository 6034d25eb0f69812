"""The few functions that Python has and C lacks."""

HEAD = """\
/* Numbers to the right of `>>` are shifted with their sign; a compiler that does otherwise stops here. */
typedef char shifts_keep_the_sign[(-1 >> 1) == -1 ? 1 : -1];

/* A component's step stays a function of its own: small chips reach its fields from there with less code. */
#if defined(__GNUC__)
#define COMPONENT __attribute__((noinline))
#else
#define COMPONENT
#endif

#ifdef ASSIST_CHECKED
void assist_stop(const char *why); /* Yours, in a build that looks for mistakes: it must not return. */
#define STOP_UNLESS(condition, why) do { if (!(condition)) { assist_stop(why); } } while (0)
#else
#define STOP_UNLESS(condition, why) do { } while (0)
#endif
"""

HELPERS = {
    "floor_div": """\
/* Divide and round down, as Python does. The divisor must be positive. A chip with a divider of its own may
 * bring this function: build with -DASSIST_OWN_DIVISION. */
#ifdef ASSIST_OWN_DIVISION
int32_t floor_div(int32_t numerator, int32_t divisor);
#else
static int32_t floor_div(int32_t numerator, int32_t divisor)
{
    STOP_UNLESS(divisor > 0, "a divisor that is not positive");
    const int32_t quotient = numerator / divisor;
    return numerator % divisor < 0 ? quotient - 1 : quotient;
}
#endif
""",
    "floor_mod": """\
/* Return the remainder of a division that rounds down. The divisor must be positive. */
static int32_t floor_mod(int32_t numerator, int32_t divisor)
{
    STOP_UNLESS(divisor > 0, "a divisor that is not positive");
    const int32_t remainder = numerator % divisor;
    return remainder < 0 ? remainder + divisor : remainder;
}
""",
    "min_of": """\
static int32_t min_of(int32_t one, int32_t other)
{
    return other < one ? other : one;
}
""",
    "max_of": """\
static int32_t max_of(int32_t one, int32_t other)
{
    return other > one ? other : one;
}
""",
    "abs_of": """\
static int32_t abs_of(int32_t value)
{
    return value < 0 ? -value : value;
}
""",
}
