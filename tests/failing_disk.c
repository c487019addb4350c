/* A disk that fails, for tests: loaded before the C library (LD_PRELOAD), it answers reads, writes
   and syncs of the files whose name holds FAILING_NAME with EIO for as long as the file
   FAILING_CONTROL holds the letter r, w or s. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <sys/types.h>
#include <unistd.h>

static int fails(int file, char what)
{
    const char *name = getenv("FAILING_NAME"), *control = getenv("FAILING_CONTROL");
    char link[64], path[4096], said[8];
    if (!name || !control)
        return 0;
    snprintf(link, sizeof link, "/proc/self/fd/%d", file);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length <= 0)
        return 0;
    path[length] = 0;
    if (!strstr(path, name))
        return 0;
    int opened = syscall(SYS_openat, AT_FDCWD, control, O_RDONLY);
    if (opened < 0)
        return 0;
    length = syscall(SYS_read, opened, said, sizeof said);
    syscall(SYS_close, opened);
    return length > 0 && memchr(said, what, length) != NULL;
}

#define FAILING(kind, call, what, parameters, arguments, file) \
    kind call parameters                                       \
    {                                                          \
        static kind(*real) parameters;                         \
        if (!real)                                             \
            real = dlsym(RTLD_NEXT, #call);                    \
        if (fails(file, what)) {                               \
            errno = EIO;                                       \
            return -1;                                         \
        }                                                      \
        return real arguments;                                 \
    }

FAILING(ssize_t, read, 'r', (int f, void *b, size_t n), (f, b, n), f)
FAILING(ssize_t, pread, 'r', (int f, void *b, size_t n, off_t o), (f, b, n, o), f)
FAILING(ssize_t, pread64, 'r', (int f, void *b, size_t n, off64_t o), (f, b, n, o), f)
FAILING(ssize_t, write, 'w', (int f, const void *b, size_t n), (f, b, n), f)
FAILING(ssize_t, pwrite, 'w', (int f, const void *b, size_t n, off_t o), (f, b, n, o), f)
FAILING(ssize_t, pwrite64, 'w', (int f, const void *b, size_t n, off64_t o), (f, b, n, o), f)
FAILING(int, fsync, 's', (int f), (f), f)
FAILING(int, fdatasync, 's', (int f), (f), f)
