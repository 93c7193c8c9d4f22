/* A disk that fails on purpose, for LD_PRELOAD: of the calls that change files below a folder, one fails, and with `stay` all behind it.

   failing_disk(folder, at, error, stay) begins to count at 0; at < 0 never fails. failing_disk_calls() tells how many there were.

   Or, for a program that knows nothing of it: below the folder FULL_DISK no file grows while the file FULL_DISK_WHILE is there. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <limits.h>
#include <stdarg.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <sys/uio.h>
#include <unistd.h>

static char folder[PATH_MAX];
static long at = -1, calls;
static int error_number, stays;

void failing_disk(const char *below, long place, int error, int stay)
{
    snprintf(folder, sizeof folder, "%s", below);
    at = place, error_number = error, stays = stay, calls = 0;
}

long failing_disk_calls(void) { return calls; }

static int below(const char *path) { return *folder && strncmp(path, folder, strlen(folder)) == 0; }

static int fails(void)
{
    long now = calls++;
    if (at < 0 || now < at || (now > at && !stays))
        return 0;
    errno = error_number;
    return 1;
}

static const char *path_of(int fd)
{
    static __thread char path[PATH_MAX];
    char link[64];
    int kept = errno;
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t size = readlink(link, path, sizeof path - 1);
    errno = kept;
    path[size < 0 ? 0 : size] = 0;
    return path;
}

static int fd_fails(int fd) { return below(path_of(fd)) && fails(); }

/* Tell whether the disk is full for a file that would have so many bytes. */
static int full(int fd, off_t size)
{
    static const char *place, *switched;
    struct stat now;
    if (!place)
        place = getenv("FULL_DISK") ? getenv("FULL_DISK") : "", switched = getenv("FULL_DISK_WHILE");
    if (!*place || !switched || access(switched, F_OK) || strncmp(path_of(fd), place, strlen(place)) || fstat(fd, &now) || size <= now.st_size)
        return 0;
    errno = ENOSPC;
    return 1;
}

static off_t bytes(const struct iovec *parts, int count)
{
    off_t all = 0;
    for (int part = 0; part < count; part++)
        all += parts[part].iov_len;
    return all;
}

#define REAL(name) static __typeof__(&name) real; if (!real) real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)

ssize_t write(int fd, const void *data, size_t size) { REAL(write); return fd_fails(fd) ? -1 : real(fd, data, size); }
ssize_t writev(int fd, const struct iovec *parts, int count) { REAL(writev); return fd_fails(fd) ? -1 : real(fd, parts, count); }
ssize_t pwrite(int fd, const void *data, size_t size, off_t place) { REAL(pwrite); return fd_fails(fd) || full(fd, place + size) ? -1 : real(fd, data, size, place); }
ssize_t pwrite64(int fd, const void *data, size_t size, off64_t place) { REAL(pwrite64); return fd_fails(fd) || full(fd, place + size) ? -1 : real(fd, data, size, place); }
ssize_t pwritev(int fd, const struct iovec *parts, int count, off_t place) { REAL(pwritev); return full(fd, place + bytes(parts, count)) ? -1 : real(fd, parts, count, place); }
ssize_t pwritev64(int fd, const struct iovec *parts, int count, off64_t place) { REAL(pwritev64); return full(fd, place + bytes(parts, count)) ? -1 : real(fd, parts, count, place); }
int posix_fallocate(int fd, off_t place, off_t size) { REAL(posix_fallocate); return full(fd, place + size) ? ENOSPC : real(fd, place, size); }
int posix_fallocate64(int fd, off64_t place, off64_t size) { REAL(posix_fallocate64); return full(fd, place + size) ? ENOSPC : real(fd, place, size); }
int ftruncate(int fd, off_t size) { REAL(ftruncate); return fd_fails(fd) ? -1 : real(fd, size); }
int ftruncate64(int fd, off64_t size) { REAL(ftruncate64); return fd_fails(fd) ? -1 : real(fd, size); }
int fsync(int fd) { REAL(fsync); return fd_fails(fd) ? -1 : real(fd); }
int fdatasync(int fd) { REAL(fdatasync); return fd_fails(fd) ? -1 : real(fd); }
int rename(const char *from, const char *to) { REAL(rename); return below(to) && fails() ? -1 : real(from, to); }
