/* The desk's side of check.c: files on the command line, lines on the terminal. */
#include <stdio.h>
#include <stdlib.h>

#include "check.h"

static FILE *file;

int check_read(void)
{
    return getc(file);
}

void check_say(const char *text)
{
    fputs(text, stdout);
}

/* Called by a build with -DASSIST_CHECKED. */
void assist_stop(const char *why);
void assist_stop(const char *why)
{
    fprintf(stderr, "stopped: %s\n", why);
    abort();
}

int main(int count, char **names)
{
    long vectors = 0;
    long differ = 0;
    for (int at = 1; at < count; at++) {
        file = fopen(names[at], "rb");
        if (file == NULL) {
            fprintf(stderr, "%s can't be read\n", names[at]);
            return 2;
        }
        const CheckResult result = check_file(names[at]);
        fclose(file);
        vectors += result.vectors;
        differ += result.differ;
    }
    printf("%ld vectors, %ld differ\n", vectors, differ);
    return differ == 0 && vectors > 0 ? 0 : 1;
}
