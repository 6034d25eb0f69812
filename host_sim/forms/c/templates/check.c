/* Replays vectors: does assist.c, built with your compiler, do what its sources do in Python?
 *
 * A vector is one step: what the controller was given, the outputs that it answered, and a digest (CRC-32) of all
 * that it remembers afterwards. `check_read` and `check_say` are the only ties to the world; check_host.c has them
 * for a desk, and you may write them for your chip. Vectors are little-endian words of 32 bits.
 */
#include "check.h"

#include "assist.h"

#define STEP 1
#define LIFE 2
#define QUESTION 3
#define END 4
#define SHOWN_MAX 5

static Settings settings;
static Inputs inputs;
static Controller controller;

static uint32_t digest;
static uint32_t all; /* Of a whole file, over the digests of its records. */
static int32_t vectors;
static int32_t shown;

static void fold_word(uint32_t *into, uint32_t word)
{
    static const uint32_t BY_NIBBLE[16] = {
        0x00000000u, 0x1DB71064u, 0x3B6E20C8u, 0x26D930ACu, 0x76DC4190u, 0x6B6B51F4u, 0x4DB26158u, 0x5005713Cu,
        0xEDB88320u, 0xF00F9344u, 0xD6D6A3E8u, 0xCB61B38Cu, 0x9B64C2B0u, 0x86D3D2D4u, 0xA00AE278u, 0xBDBDF21Cu,
    };
    uint32_t found = *into ^ word;
    for (int32_t nibble = 0; nibble < 8; nibble++) {
        found = (found >> 4) ^ BY_NIBBLE[found & 15u];
    }
    *into = found;
}

static void fold(int32_t value)
{
    fold_word(&digest, (uint32_t)value);
}

/*FOLDS*/
static uint32_t digest_now(void)
{
    digest = 0xFFFFFFFFu;
    fold_Controller(&controller);
    fold_Inputs(&inputs);
    return ~digest;
}

static int32_t read_word(void)
{
    uint32_t word = 0;
    for (uint32_t at = 0; at < 32; at += 8) {
        word |= ((uint32_t)check_read() & 255u) << at;
    }
    return word <= 0x7FFFFFFFu ? (int32_t)word : -(int32_t)(0xFFFFFFFFu - word) - 1;
}

static void say_number(uint32_t number, uint32_t base)
{
    char text[12];
    int32_t at = 11;
    text[at] = '\0';
    do {
        at--;
        text[at] = "0123456789abcdef"[number % base];
        number /= base;
    } while (number > 0);
    check_say(&text[at]);
}

static void say_value(int32_t value)
{
    check_say(value < 0 ? "-" : "");
    say_number(value < 0 ? 0u - (uint32_t)value : (uint32_t)value, 10);
}

static bool unequal(const char *what, int32_t found, int32_t wanted)
{
    if (found == wanted) {
        return false;
    }
    if (shown < SHOWN_MAX) {
        shown++;
        check_say("vector ");
        say_value(vectors);
        check_say(": ");
        check_say(what);
        check_say(" is ");
        say_value(found);
        check_say(" and must be ");
        say_value(wanted);
        check_say("\n");
    }
    return true;
}

static void read_settings(Settings *to)
{
/*READ_SETTINGS*/
}

static void read_inputs(Inputs *to)
{
/*READ_INPUTS*/
}

static bool compare_state(void)
{
    const uint32_t now = digest_now();
    fold_word(&all, now);
    const int32_t wanted = read_word();
    const int32_t found = now <= 0x7FFFFFFFu ? (int32_t)now : -(int32_t)(0xFFFFFFFFu - now) - 1;
    return unequal("the digest of the state", found, wanted);
}

static bool begin_life(void)
{
    const int32_t now_us = read_word();
    read_settings(&settings);
    Inputs_init(&inputs);
    bool differs = unequal("what the constructor says", Controller_init(&controller, &settings, now_us), true);
    differs |= compare_state();
    return differs;
}

static bool take_step(void)
{
    const int32_t now_us = read_word();
    const int32_t crank_edges = read_word();
    const int32_t wheel_edges = read_word();
    read_inputs(&inputs);
    for (int32_t edge = 0; edge < crank_edges + wheel_edges; edge++) {
        const int32_t levels = read_word();
        const int32_t time_us = read_word();
        EdgeLog_record(edge < crank_edges ? &inputs.crank : &inputs.wheel, levels, time_us);
    }
    const Outputs *outputs = Controller_step(&controller, &inputs, now_us);
    bool differs = false;
/*COMPARE_OUTPUTS*/
    differs |= compare_state();
    return differs;
}

static bool answer(void)
{
    Settings asked;
    read_settings(&asked);
    const int32_t found = Settings_check(&asked) == 0;
    return unequal("whether settings are legal", found, read_word());
}

static void report(const char *name, int32_t differ)
{
    check_say(name);
    check_say(": ");
    say_value(vectors);
    check_say(" vectors, ");
    say_value(differ);
    check_say(" differ, digest 0x");
    say_number(all, 16);
    check_say("\n");
}

CheckResult check_file(const char *name)
{
    int32_t differ = 0;
    vectors = 0;
    shown = 0;
    all = 1;
    int32_t kind = read_word();
    while (kind == STEP || kind == LIFE || kind == QUESTION) {
        vectors++;
        const bool differs = kind == STEP ? take_step() : kind == LIFE ? begin_life() : answer();
        differ += differs ? 1 : 0;
        kind = read_word();
    }
    const bool whole = kind == END && read_word() == vectors;
    if (!whole) {
        check_say("this file of vectors is not whole\n");
        differ++;
    }
    report(name, differ);
    const CheckResult result = {vectors, differ};
    return result;
}
