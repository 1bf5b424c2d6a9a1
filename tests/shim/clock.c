/* A clock that is set while the real program runs; what counts steadily goes on as it is.
 *
 * CLAYMARK_SHIM_CLOCK  a file with the seconds, positive or negative, that the clock is ahead of this machine's;
 *                      read anew at each call
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

static time_t ahead(void)
{
    const char *path = getenv("CLAYMARK_SHIM_CLOCK");
    if (!path) return 0;
    int saved = errno;
    char found[32] = "";
    long fd = syscall(SYS_openat, AT_FDCWD, path, O_RDONLY | O_CLOEXEC);
    if (fd >= 0) {
        long length = syscall(SYS_read, fd, found, sizeof found - 1);
        found[length > 0 ? length : 0] = '\0';
        syscall(SYS_close, fd);
    }
    errno = saved;
    return strtoll(found, NULL, 10);
}

int clock_gettime(clockid_t clock, struct timespec *now)
{
    long result = syscall(SYS_clock_gettime, clock, now);
    if (result == 0 && (clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE)) now->tv_sec += ahead();
    return (int)result;
}

int gettimeofday(struct timeval *restrict now, void *restrict zone)
{
    int (*real)(struct timeval *restrict, void *restrict) = dlsym(RTLD_NEXT, "gettimeofday");
    int result = real(now, zone);
    if (result == 0) now->tv_sec += ahead();
    return result;
}

time_t time(time_t *also)
{
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    if (also) *also = now.tv_sec;
    return now.tv_sec;
}
