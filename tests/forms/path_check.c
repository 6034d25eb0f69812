/* Makes the calls of the proofs' path vectors; path_program.py makes this whole. In place of check.c. */
#include "assist.c"

#include "check.h"

#define ARGUMENTS_MAX 8
#define END 0xFFFFFFFFu
#define SHOWN_MAX 5

static Settings settings, built_settings;
static Inputs inputs, built_inputs;
static Controller controller, built_controller;

typedef struct {
    void *at;
    uint32_t bytes;
} Place;

static const Place PLACES[] = {
/*PLACES*/
};
#define PLACE_COUNT (sizeof PLACES / sizeof *PLACES)

static int32_t arguments[ARGUMENTS_MAX];
static int32_t expected[PLACE_COUNT];

static int32_t get(const Place *place)
{
    return place->bytes == 1 ? *(const unsigned char *)place->at : *(const int32_t *)place->at;
}

static void put(const Place *place, int32_t value)
{
    if (place->bytes == 1) {
        *(unsigned char *)place->at = (unsigned char)value;
    } else {
        *(int32_t *)place->at = value;
    }
}

static uint32_t read_word(void)
{
    uint32_t word = 0;
    for (unsigned shift = 0; shift < 32; shift += 8) {
        word |= (uint32_t)(check_read() & 0xFF) << shift;
    }
    return word;
}

/* Read numbers with their places; those before a call are put there, all are expected after it. */
static void read_numbers(bool before)
{
    for (uint32_t left = read_word(); left > 0; left--) {
        const uint32_t place = read_word();
        expected[place] = (int32_t)read_word();
        if (before) {
            put(&PLACES[place], expected[place]);
        }
    }
}

static int32_t call(uint32_t entry)
{
    int32_t result = 0;
    switch (entry) {
/*CASES*/
    default:
        assist_stop("no such function\n");
    }
    return result;
}

static void as_built(void)
{
    settings = built_settings;
    inputs = built_inputs;
    controller = built_controller;
    for (uint32_t place = 0; place < PLACE_COUNT; place++) {
        expected[place] = get(&PLACES[place]);
    }
}

static void say_number(const char *before, uint32_t number, const char *after)
{
    char digits[11];
    char *first = digits + sizeof digits - 1;
    *first = '\0';
    do {
        *--first = (char)('0' + number % 10);
        number /= 10;
    } while (number > 0);
    check_say(before);
    check_say(first);
    check_say(after);
}

/* Make the call that comes next; return whether result and state are as they must be. */
static bool call_next(uint32_t entry)
{
    as_built();
    const uint32_t count = read_word();
    for (uint32_t at = 0; at < count; at++) {
        arguments[at] = (int32_t)read_word();
    }
    const int32_t result = (int32_t)read_word();
    read_numbers(true);
    bool same = call(entry) == result;
    read_numbers(false);
    for (uint32_t place = 0; place < PLACE_COUNT; place++) {
        same = same && get(&PLACES[place]) == expected[place];
    }
    return same;
}

CheckResult check_file(const char *name)
{
    CheckResult found = {0, 0};
    Settings_default(&built_settings);
    settings = built_settings;
    Inputs_init(&inputs);
    built_inputs = inputs;
    if (!Controller_init(&controller, &settings, 0)) {
        assist_stop("the defaults are refused\n");
    }
    built_controller = controller;
    for (uint32_t entry = read_word(); entry != END; entry = read_word()) {
        if (!call_next(entry)) {
            found.differ++;
            if (found.differ <= SHOWN_MAX) {
                say_number("call ", (uint32_t)found.vectors, ", ");
                say_number("function ", entry, " differs\n");
            }
        }
        found.vectors++;
    }
    check_say(name);
    say_number(": ", (uint32_t)found.vectors, " calls, ");
    say_number("", (uint32_t)found.differ, " differ\n");
    return found;
}
