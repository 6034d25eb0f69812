/* What check.c needs and gives. */
#ifndef CHECK_H
#define CHECK_H

#include <stdint.h>

/* Yours: the next byte of the vectors, or -1 after the last one; and a place to print to. */
int check_read(void);
void check_say(const char *text);

typedef struct {
    int32_t vectors;
    int32_t differ;
} CheckResult;

/* Replay what `check_read` gives, print one line about it, and up to five differences before. */
CheckResult check_file(const char *name);

#endif
