/* Calls each function on made-up states; method_vectors.py makes this whole, and knows what must come out. */
#include <stdio.h>
#include <stdlib.h>

#include "assist.c"

void assist_stop(const char *why)
{
    fprintf(stderr, "stopped: %s\n", why);
    abort();
}

static Settings settings;
static Inputs inputs;
static Controller controller;

static const int32_t CONSTANTS[] = {/*CONSTANTS*/};

static uint32_t state, digest;
static int32_t first, second;

static int32_t next(void)
{
    state = state * 1103515245u + 12345u;
    return (int32_t)(state >> 8);
}

static void seed_with(uint32_t seed)
{
    state = seed;
    first = next() % 3000;
    second = next() % 60000;
}

static bool draw_truth(void)
{
    return next() % 2 == 1;
}

static int32_t draw(void)
{
    static const int32_t BY_ONE[6] = {1, 0, 0, 0, 0, -1};
    const int32_t chosen = next() % 12;
    const int32_t by_one = BY_ONE[next() % 6];
    if (chosen == 11) {
        return CONSTANTS[next() % (int32_t)(sizeof CONSTANTS / sizeof *CONSTANTS)] + by_one;
    }
    const int32_t small = next() % 4;
    const int32_t places[11] = {
        first, second, first + second, first / 8, first - first / 8, first * 2, first / 2, small, first, second, small,
    };
    return places[chosen] + by_one;
}

static void fold(int32_t value)
{
    digest ^= (uint32_t)value;
    for (int bit = 0; bit < 32; bit++) {
        digest = (digest >> 1) ^ ((digest & 1u) != 0 ? 0xEDB88320u : 0u);
    }
}

static void fill(void)
{
/*FILL*/
}

static uint32_t digest_now(void)
{
    digest = 0xFFFFFFFFu;
/*WORDS*/
    return ~digest;
}

static int32_t *const PLACES[] = {
/*PLACES*/
};
#define PLACE_COUNT ((int)(sizeof PLACES / sizeof *PLACES))

static int changed_place;
static int32_t changed_to;

/* Return the next argument: drawn, or the one that the vector names. */
static int32_t argument(int at)
{
    const int32_t drawn = draw();
    return changed_place == PLACE_COUNT + at ? changed_to : drawn;
}

static int32_t call(int function)
{
    int32_t result = 0;
    switch (function) {
/*CASES*/
    default:
        break;
    }
    return result;
}

static const struct {
    int function;
    uint32_t seed;
    int place; /* Of the one number that is not as drawn, or -1. */
    int32_t value;
    int32_t result;
    uint32_t digest;
} VECTORS[] = {
/*VECTORS*/
};

int main(void)
{
    const int count = (int)(sizeof VECTORS / sizeof *VECTORS);
    int differ = 0;
    Inputs_init(&inputs);
    Settings_default(&settings);
    if (!Controller_init(&controller, &settings, 0)) {
        return 2;
    }
    for (int at = 0; at < count; at++) {
        seed_with(VECTORS[at].seed);
        fill();
        changed_place = VECTORS[at].place;
        changed_to = VECTORS[at].value;
        if (changed_place >= 0 && changed_place < PLACE_COUNT) {
            *PLACES[changed_place] = changed_to;
        }
        const int32_t result = call(VECTORS[at].function);
        if (result != VECTORS[at].result || digest_now() != VECTORS[at].digest) {
            differ++;
            if (differ <= 5) {
                printf("function %d, seed %lu\n", VECTORS[at].function, (unsigned long)VECTORS[at].seed);
            }
        }
    }
    printf("%d vectors, %d differ\n", count, differ);
    return differ == 0 ? 0 : 1;
}
