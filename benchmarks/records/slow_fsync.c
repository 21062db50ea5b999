/* Loaded before the C library (LD_PRELOAD): every fsync and fdatasync takes SLOW_FSYNC_MS longer. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <stdlib.h>
#include <time.h>

static void wait_longer(void) {
    const char *said = getenv("SLOW_FSYNC_MS");
    long ms = said ? atol(said) : 0;
    struct timespec pause = {ms / 1000, (ms % 1000) * 1000000L};
    nanosleep(&pause, NULL);
}

int fsync(int file) {
    static int (*own)(int);
    if (!own) own = (int (*)(int))dlsym(RTLD_NEXT, "fsync");
    wait_longer();
    return own(file);
}

int fdatasync(int file) {
    static int (*own)(int);
    if (!own) own = (int (*)(int))dlsym(RTLD_NEXT, "fdatasync");
    wait_longer();
    return own(file);
}
