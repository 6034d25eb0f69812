/* check.c on a Cortex-M0 under QEMU: starts the chip, reads the file of vectors and prints through semihosting. */
#include <stddef.h>
#include <stdint.h>

#include "check.h"

#define SYS_OPEN 1
#define SYS_WRITE0 4
#define SYS_READ 6
#define SYS_EXIT 24
#define STOPPED_BY_THE_PROGRAM 0x20026
#define STOPPED_BY_AN_ERROR 0x20023
#define BLOCK 1024

extern uint32_t data_start, data_end, data_load, bss_start, bss_end, stack_top;

static unsigned char block[BLOCK];
static size_t at, held;
static int file;

static int semihosting(int what, const void *with)
{
    register int r0 __asm__("r0") = what;
    register const void *r1 __asm__("r1") = with;
    __asm__ volatile("bkpt 0xAB" : "+r"(r0) : "r"(r1) : "memory");
    return r0;
}

int check_read(void)
{
    if (at == held) {
        const uintptr_t read[3] = {(uintptr_t)file, (uintptr_t)block, BLOCK};
        held = BLOCK - (size_t)semihosting(SYS_READ, read);
        at = 0;
    }
    return held == 0 ? -1 : block[at++];
}

void check_say(const char *text)
{
    semihosting(SYS_WRITE0, text);
}

void assist_stop(const char *why)
{
    check_say(why);
    semihosting(SYS_EXIT, (const void *)STOPPED_BY_AN_ERROR);
}

static void fault(void)
{
    assist_stop("the chip met a fault\n");
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
    static const char NAME[] = "chip.vectors";
    const uintptr_t open[3] = {(uintptr_t)NAME, 1, sizeof NAME - 1};
    file = semihosting(SYS_OPEN, open);
    const CheckResult result = check_file(NAME);
    const int done = result.differ == 0 ? STOPPED_BY_THE_PROGRAM : STOPPED_BY_AN_ERROR;
    semihosting(SYS_EXIT, (const void *)(uintptr_t)done);
    for (;;) {
    }
}

__attribute__((section(".vectors"), used)) static const void *const TABLE[16] = {
    &stack_top, reset, fault, fault,
};
