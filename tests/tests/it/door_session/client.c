/* An ordinary C program on an I2C bus, with everything that programs do to a file. It knows nothing of a simulator. */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <linux/i2c-dev.h>
#include <linux/i2c.h>
#include <poll.h>
#include <pthread.h>
#include <signal.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/ioctl.h>
#include <sys/select.h>
#include <sys/sendfile.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#define DEVICE "/dev/i2c-7"
#define MUST(condition) \
    do { \
        if (!(condition)) { \
            fprintf(stderr, "line %d: %s (errno %d)\n", __LINE__, #condition, errno); \
            exit(99); \
        } \
    } while (0)

static int transfer(int fd, uint8_t *write, int wrote, uint8_t *read, int len) {
    struct i2c_msg messages[2] = {
        {.addr = 0x50, .flags = 0, .len = (uint16_t)wrote, .buf = write},
        {.addr = 0x50, .flags = I2C_M_RD, .len = (uint16_t)len, .buf = read},
    };
    struct i2c_rdwr_ioctl_data all = {.msgs = messages, .nmsgs = len > 0 ? 2 : 1};
    return ioctl(fd, I2C_RDWR, &all);
}

static int put(int fd, int offset, int value) {
    uint8_t bytes[3] = {(uint8_t)(offset >> 8), (uint8_t)offset, (uint8_t)value};
    return transfer(fd, bytes, 3, NULL, 0);
}

static int get(int fd, int offset) {
    uint8_t header[2] = {(uint8_t)(offset >> 8), (uint8_t)offset}, byte = 0;
    return transfer(fd, header, 2, &byte, 1) == 2 ? byte : -1;
}

static void wrap(int fd) {
    uint8_t across[5] = {0, 31, 1, 2, 3};
    MUST(transfer(fd, across, 5, NULL, 0) == 1);
}

static void ms(int count) {
    struct timespec time = {count / 1000, count % 1000 * 1000000L};
    MUST(nanosleep(&time, NULL) == 0);
}

static double now(void) {
    struct timespec time;
    MUST(clock_gettime(CLOCK_MONOTONIC, &time) == 0);
    return (double)time.tv_sec * 1e3 + (double)time.tv_nsec / 1e6;
}

static void files(int fd) {
    struct stat status, number;
    MUST(stat(DEVICE, &status) == 0 && S_ISCHR(status.st_mode) && status.st_rdev == 0x5907);
    MUST(fstat(fd, &number) == 0 && S_ISCHR(number.st_mode) && number.st_rdev == status.st_rdev);
    MUST(access(DEVICE, R_OK | W_OK) == 0 && access(DEVICE, X_OK) == -1 && errno == EACCES);
    MUST(access("/dev/i2c-77", F_OK) == -1 && errno == ENOENT);
    const char *ways[] = {"//dev/i2c-7", "/dev/../dev/./i2c-7", "../dev/i2c-7"};
    MUST(chdir("/dev") == 0);
    for (int i = 0; i < 3; i++) {
        int other = open(ways[i], O_RDWR);
        MUST(other >= 0 && get(other, 0) >= 0 && close(other) == 0);
    }
    MUST(fcntl(fd, F_GETFL) == O_RDWR);
    MUST(fcntl(fd, F_SETFL, O_RDWR | O_NONBLOCK) == 0 && fcntl(fd, F_GETFL) == (O_RDWR | O_NONBLOCK));
    MUST(get(fd, 0) >= 0);
    MUST(fcntl(fd, F_GETFD) == 0);
    int other = open(DEVICE, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    MUST(fcntl(other, F_GETFD) == FD_CLOEXEC && fcntl(other, F_GETFL) & O_NONBLOCK);
    MUST(ioctl(other, I2C_SLAVE, 0x50) == 0 && write(other, "\0\0", 2) == -1 && errno == EBADF);
    MUST(close(other) == 0 && get(other, 0) == -1 && errno == EBADF);
    MUST(lseek(fd, 0, SEEK_SET) == -1 && errno == ESPIPE);

    struct pollfd ready = {.fd = fd, .events = POLLIN | POLLOUT};
    MUST(poll(&ready, 1, 0) == 1 && ready.revents == (POLLIN | POLLOUT));
    fd_set set;
    FD_ZERO(&set);
    FD_SET(fd, &set);
    struct timeval none = {0, 0};
    MUST(select(fd + 1, &set, NULL, NULL, &none) == 1 && FD_ISSET(fd, &set));
    struct epoll_event event = {.events = EPOLLIN};
    MUST(epoll_ctl(epoll_create1(0), EPOLL_CTL_ADD, fd, &event) == -1 && errno == EPERM);

    /* The address belongs to the open file, so a copy has it, and each part of a scattered buffer is a transfer. */
    MUST(ioctl(fd, I2C_SLAVE, 0x50) == 0);
    int copy = fcntl(dup(fd), F_DUPFD_CLOEXEC, 100);
    MUST(copy >= 100);
    uint8_t header[2] = {0, 0x40}, data[4] = {0, 0x40, 0xA1, 0xA2}, back[3] = {0};
    struct iovec one[1] = {{data, 4}};
    MUST(writev(copy, one, 1) == 4);
    ms(20);
    struct iovec two[2] = {{header, 2}, {header, 2}};
    MUST(writev(copy, two, 2) == 4);
    struct iovec into[2] = {{back, 1}, {back + 1, 1}};
    MUST(readv(fd, into, 2) == 2 && back[0] == 0xA1 && back[1] == 0xA2);
    MUST(pwrite(fd, header, 2, 12345) == 2 && pread(copy, back, 2, 777) == 2 && back[1] == 0xA2);
    MUST(syscall(SYS_write, fd, header, 2L) == 2 && syscall(SYS_read, fd, back, 1L) == 1 && back[0] == 0xA1);
}

static void bad_pointers(int fd) {
    char *nowhere = (char *)16;
    struct i2c_msg message = {.addr = 0x50, .flags = 0, .len = 3, .buf = (uint8_t *)nowhere};
    struct i2c_rdwr_ioctl_data all = {.msgs = &message, .nmsgs = 1};
    MUST(ioctl(fd, I2C_RDWR, &all) == -1 && errno == EFAULT);
    message.flags = I2C_M_RD;
    MUST(ioctl(fd, I2C_RDWR, &all) == -1 && errno == EFAULT);
    all.msgs = (struct i2c_msg *)nowhere;
    MUST(ioctl(fd, I2C_RDWR, &all) == -1 && errno == EFAULT);
    MUST(ioctl(fd, I2C_RDWR, nowhere) == -1 && errno == EFAULT);
    MUST(ioctl(fd, I2C_FUNCS, nowhere) == -1 && errno == EFAULT);
    MUST(ioctl(fd, I2C_SMBUS, nowhere) == -1 && errno == EFAULT);
    MUST(ioctl(fd, I2C_SLAVE, 0x50) == 0);
    MUST(syscall(SYS_write, fd, nowhere, 2L) == -1 && errno == EFAULT);
    MUST(syscall(SYS_read, fd, nowhere, 2L) == -1 && errno == EFAULT);
    MUST(syscall(SYS_read, fd, "constant", 2L) == -1 && errno == EFAULT);
    MUST(get(fd, 0) == 0xFF);
}

static void family(int fd) {
    MUST(put(fd, 0, 0x11) == 1);
    if (fork() == 0) {
        /* The same file, the same bus, the same write cycle. */
        MUST(put(fd, 1, 0x22) == -1 && errno == ENXIO);
        ms(20);
        MUST(put(fd, 1, 0x22) == 1);
        ms(20);
        MUST(get(fd, 0) == 0x11 && put(fd, 3, 0x44) == 1);
        _exit(0);
    }
    int status = 0;
    MUST(wait(&status) > 0 && status == 0);
    MUST(put(fd, 2, 0x33) == -1 && errno == ENXIO);
    double before = now();
    ms(20);
    MUST(now() - before >= 20);
    MUST(get(fd, 1) == 0x22);
}

static void *retrying(void *argument) {
    int fd = open(DEVICE, O_RDWR), number = (int)(intptr_t)argument;
    for (int turn = 0; turn < 20; turn++) {
        while (put(fd, number * 32, turn) != 1) {
            MUST(errno == ENXIO);
        }
    }
    return NULL;
}

static void threads(void) {
    pthread_t all[4];
    for (int i = 0; i < 4; i++) {
        MUST(pthread_create(&all[i], NULL, retrying, (void *)(intptr_t)i) == 0);
    }
    for (int i = 0; i < 4; i++) {
        MUST(pthread_join(all[i], NULL) == 0);
    }
}

static void *sleeping(void *argument) {
    (void)argument;
    ms(10);
    return NULL;
}

/* A limit by the clock, sleeps side by side, and waits that run out. */
static void clocks(int fd) {
    double begun = now();
    MUST(put(fd, 0, 1) == 1);
    while (put(fd, 0, 2) != 1) {
        MUST(now() - begun < 25);
        usleep(500);
    }
    begun = now();
    pthread_t all[8];
    for (int i = 0; i < 8; i++) {
        MUST(pthread_create(&all[i], NULL, sleeping, NULL) == 0);
    }
    for (int i = 0; i < 8; i++) {
        MUST(pthread_join(all[i], NULL) == 0);
    }
    double took = now() - begun;
    MUST(took >= 10 && took < 15);
    begun = now();
    while (now() - begun < 5) {
    }
    begun = now();
    struct timespec until;
    MUST(clock_gettime(CLOCK_REALTIME, &until) == 0);
    until.tv_sec += 1;
    pthread_mutex_t mutex = PTHREAD_MUTEX_INITIALIZER;
    pthread_cond_t condition = PTHREAD_COND_INITIALIZER;
    pthread_mutex_lock(&mutex);
    MUST(pthread_cond_timedwait(&condition, &mutex, &until) == ETIMEDOUT);
    took = now() - begun;
    MUST(took >= 999 && took < 1100);
}

int main(int count, char **words) {
    const char *what = count > 1 ? words[1] : "";
    if (strcmp(what, "stream") == 0) {
        MUST(fopen(DEVICE, "r+") == NULL && errno == EOPNOTSUPP);
        return 0;
    }
    int fd = open(count > 2 ? words[2] : DEVICE, O_RDWR);
    MUST(fd >= 0);
    if (strcmp(what, "files") == 0) {
        files(fd);
    } else if (strcmp(what, "bad-pointers") == 0) {
        bad_pointers(fd);
    } else if (strcmp(what, "family") == 0) {
        family(fd);
    } else if (strcmp(what, "threads") == 0) {
        threads();
    } else if (strcmp(what, "clocks") == 0) {
        clocks(fd);
    } else if (strcmp(what, "link") == 0) {
        MUST(get(fd, 0) == 0xFF);
    } else if (strcmp(what, "becomes") == 0) {
        wrap(fd);
        execl("/bin/true", "true", (char *)NULL);
    } else if (strcmp(what, "quick") == 0) {
        wrap(fd);
        quick_exit(0);
    } else if (strcmp(what, "killed") == 0) {
        wrap(fd);
        raise(SIGKILL);
    } else if (strcmp(what, "terminated") == 0) {
        wrap(fd);
        raise(SIGTERM);
    } else if (strcmp(what, "past") == 0) {
        int from = open("/bin/true", O_RDONLY);
        sendfile(fd, from, NULL, 16);
    } else if (strcmp(what, "steps") == 0) {
        /* A byte every 20 ms, until somebody stops it. */
        for (int i = 0; i < 64; i++) {
            MUST(put(fd, i, i) == 1);
            ms(20);
        }
    } else {
        return 98;
    }
    return 0;
}
