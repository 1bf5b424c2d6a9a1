/* A disk that hangs, fails, lies or is full, preloaded under the real program.
 *
 * CLAYMARK_SHIM_DISK   the folder that lies on that disk
 * CLAYMARK_SHIM_ORDER  a file outside of it with one word, read anew at each call:
 *   pass      all calls go through
 *   hang      fsync and fdatasync don't return until the word changes
 *   fail      fsync and fdatasync fail with EIO
 *   lie       fsync and fdatasync succeed and do nothing
 *   full      nothing can be made or become longer: ENOSPC
 *   readonly  nothing can be opened for writing or written: EROFS
 *
 * Only what SQLite and Rust's standard library call for files is wrapped. Files are known by the path that
 * Linux shows below /proc/self/fd, so that those opened early or deleted since count, too.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/types.h>
#include <time.h>
#include <unistd.h>

#define INDEX_BYTES 32768

/* The next definition of a function, looked up once. */
#define REAL(name) \
    static __typeof__(name) *real; \
    if (!real) real = (__typeof__(name) *)dlsym(RTLD_NEXT, #name)

/* Whether the order is this word. Raw system calls: ours would call themselves. */
static bool ordered(const char *word)
{
    const char *path = getenv("CLAYMARK_SHIM_ORDER");
    if (!path) return false;
    int saved = errno;
    char found[32] = "";
    long fd = syscall(SYS_openat, AT_FDCWD, path, O_RDONLY | O_CLOEXEC);
    if (fd >= 0) {
        long length = syscall(SYS_read, fd, found, sizeof found - 1);
        found[length > 0 ? length : 0] = '\0';
        syscall(SYS_close, fd);
    }
    errno = saved;
    found[strcspn(found, "\n")] = '\0';
    return strcmp(found, word) == 0;
}

/* Whether a path is the folder, or lies in it. */
static bool on_the_disk(const char *path)
{
    const char *folder = getenv("CLAYMARK_SHIM_DISK");
    if (!folder || !path) return false;
    size_t length = strlen(folder);
    return strncmp(path, folder, length) == 0 && (path[length] == '\0' || path[length] == '/');
}

static bool is_on_the_disk(int fd)
{
    char link[64], path[PATH_MAX];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    int saved = errno;
    ssize_t length = syscall(SYS_readlinkat, AT_FDCWD, link, path, sizeof path - 1);
    errno = saved;
    if (length < 0) return false;
    path[length] = '\0';
    return on_the_disk(path);
}

/* Whether writing up to `end` needs new room. SQLite cuts its index of the log (-shm) short at a start and makes it
 * as long again: on a real disk the room for that was its own before. */
static bool grows(int fd, off64_t end)
{
    struct stat now;
    return fstat(fd, &now) == 0 && end > now.st_size && end > INDEX_BYTES;
}

/* What a call that writes up to `end` gets: 0, or an error. */
static int refusal(int fd, off64_t end)
{
    bool full = ordered("full"), readonly = ordered("readonly");
    if ((full || readonly) && is_on_the_disk(fd)) {
        if (readonly) return EROFS;
        if (grows(fd, end)) return ENOSPC;
    }
    return 0;
}

static int refusal_of_path(const char *path, bool makes, bool writes)
{
    if (!on_the_disk(path)) return 0;
    if (writes && ordered("readonly")) return EROFS;
    if (makes && ordered("full")) return ENOSPC;
    return 0;
}

#define REFUSE(why) \
    do { \
        int refused = (why); \
        if (refused) { errno = refused; return -1; } \
    } while (0)

/* Waits while the disk hangs; then 0: sync, 1: pretend, or an error as -1. */
static int before_sync(int fd)
{
    if (!is_on_the_disk(fd)) return 0;
    while (ordered("hang")) {
        struct timespec a_moment = {.tv_nsec = 5000000};
        nanosleep(&a_moment, NULL);
    }
    if (ordered("fail")) { errno = EIO; return -1; }
    return ordered("lie") ? 1 : 0;
}

#define SYNC(name) \
    int name(int fd) \
    { \
        REAL(name); \
        int way = before_sync(fd); \
        if (way < 0) return -1; \
        return way ? 0 : real(fd); \
    }
SYNC(fsync)
SYNC(fdatasync)

#define OPEN(name) \
    int name(const char *path, int flags, ...) \
    { \
        REAL(name); \
        mode_t mode = 0; \
        if (flags & (O_CREAT | O_TMPFILE)) { \
            va_list more; \
            va_start(more, flags); \
            mode = va_arg(more, mode_t); \
            va_end(more); \
        } \
        bool makes = (flags & O_CREAT) && access(path, F_OK) != 0; \
        bool writes = makes || (flags & O_ACCMODE) != O_RDONLY || (flags & O_TRUNC); \
        REFUSE(refusal_of_path(path, makes, writes)); \
        return real(path, flags, mode); \
    }
OPEN(open)
OPEN(open64)

#define PWRITE(name, offset) \
    ssize_t name(int fd, const void *from, size_t count, offset at) \
    { \
        REAL(name); \
        REFUSE(refusal(fd, at + (off64_t)count)); \
        return real(fd, from, count, at); \
    }
PWRITE(pwrite, off_t)
PWRITE(pwrite64, off64_t)

#define TRUNCATE(name, offset) \
    int name(int fd, offset length) \
    { \
        REAL(name); \
        REFUSE(refusal(fd, length)); \
        return real(fd, length); \
    }
TRUNCATE(ftruncate, off_t)
TRUNCATE(ftruncate64, off64_t)

ssize_t write(int fd, const void *from, size_t count)
{
    REAL(write);
    REFUSE(refusal(fd, LLONG_MAX));
    return real(fd, from, count);
}

ssize_t copy_file_range(int from, off64_t *start, int to, off64_t *at, size_t count, unsigned flags)
{
    REAL(copy_file_range);
    REFUSE(refusal(to, LLONG_MAX));
    return real(from, start, to, at, count, flags);
}

int mkdir(const char *path, mode_t mode)
{
    REAL(mkdir);
    REFUSE(refusal_of_path(path, true, true));
    return real(path, mode);
}

int rename(const char *from, const char *to)
{
    REAL(rename);
    REFUSE(refusal_of_path(to, false, true));
    return real(from, to);
}

int unlink(const char *path)
{
    REAL(unlink);
    REFUSE(refusal_of_path(path, false, true));
    return real(path);
}
