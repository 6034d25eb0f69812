/* check.c on an RP2040 without anything else: vectors from flash, and a text in memory instead of a terminal. */
#include <stdint.h>

#include "check.h"

#define TEXT_MAX 1000

extern uint32_t data_start, data_end, data_load, bss_start, bss_end;
extern const unsigned char vectors_begin[];

/* The divider of the chip (RP2040 datasheet, 2.3.1.5): 8 cycles, where a Cortex-M0+ has no instruction for it. */
#define DIVIDER ((volatile int32_t *)0xD0000068u)

/* What assist.c calls where it is built with -DASSIST_OWN_DIVISION: rounds down, the divisor is positive. */
int32_t floor_div(int32_t numerator, int32_t divisor)
{
    DIVIDER[0] = numerator;
    DIVIDER[1] = divisor;
    __asm__ volatile("b 1f\n1: b 2f\n2: b 3f\n3: b 4f\n4:"); /* Each takes two cycles. */
    const int32_t remainder = DIVIDER[3];
    const int32_t quotient = DIVIDER[2]; /* Read last: that ends the division. */
    return remainder < 0 ? quotient - 1 : quotient;
}

char said[TEXT_MAX + 1];
static uint32_t said_bytes;
static const unsigned char *next;

int check_read(void)
{
    return *next++; /* The record of the end is the last one that is read. */
}

void check_say(const char *text)
{
    for (; *text != '\0' && said_bytes < TEXT_MAX; text++) {
        said[said_bytes++] = *text;
    }
}

__attribute__((noinline)) void finished(void)
{
    for (;;) {
    }
}

void assist_stop(const char *why)
{
    check_say(why);
    finished();
}

void reset(void)
{
    uint32_t *from = &data_load;
    for (uint32_t *to = &data_start; to < &data_end;) {
        *to++ = *from++;
    }
    for (uint32_t *to = &bss_start; to < &bss_end;) {
        *to++ = 0;
    }
    next = vectors_begin;
    check_file("ride");
    finished();
}
