/* The responder as a process.
 *
 *   host script        one command a line on the standard input; what the box sends because of it
 *                      comes back as a line of hexadecimal digits. Time moves by commands only.
 *   host live SETTLE HAND
 *                      the line is the standard input and output, time is the machine's, and the
 *                      same commands come on the descriptor HAND; it ends with them.
 */
#define _POSIX_C_SOURCE 200809L

#include <errno.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "model.h"

static struct model model;

static size_t from_hex(const char *text, char *to, size_t room)
{
    size_t count = 0;
    unsigned byte;
    for (; count < room && sscanf(text, "%2x", &byte) == 1; text += 2)
        to[count++] = (char)byte;
    return count;
}

static void obey(char *command)
{
    static char bytes[1u << 15];
    char *word = strtok(command, " \n");
    char *value = strtok(NULL, " \n");
    uint64_t number = value ? strtoull(value, NULL, 10) : 0;

    if (!word)
        return;
    if (!strcmp(word, "make")) {
        model_make(&model, (uint32_t)number);
    } else if (!strcmp(word, "reset")) {
        model_power_on(&model, (uint32_t)strtoul(value ? value : "0", NULL, 16));
    } else if (!strcmp(word, "send")) {
        model_feed(&model, bytes, from_hex(value ? value : "", bytes, sizeof bytes));
    } else if (!strcmp(word, "wait")) {
        model_wait(&model, (uint32_t)number);
    } else if (!strcmp(word, "turn")) {
        model_turn(&model, number);
    } else if (!strcmp(word, "press")) {
        model_press(&model, value ? value : "");
    } else if (!strcmp(word, "battery")) {
        model_battery(&model, (uint16_t)number);
    } else if (!strcmp(word, "break")) {
        model_break(&model, number != 0);
    } else {
        fprintf(stderr, "no such command: %s\n", word);
        exit(2);
    }
}

static int script(void)
{
    static char command[1u << 16], sent[1u << 16];
    while (fgets(command, sizeof command, stdin)) {
        obey(command);
        size_t count = model_take(&model, sent, sizeof sent);
        for (size_t i = 0; i < count; i++)
            printf("%02x", (unsigned)(unsigned char)sent[i]);
        putchar('\n');
        fflush(stdout);
    }
    return 0;
}

static uint32_t milliseconds(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (uint32_t)((uint64_t)now.tv_sec * 1000u + (uint64_t)now.tv_nsec / 1000000u);
}

static void write_out(void)
{
    static char sent[1u << 16];
    size_t count = model_take(&model, sent, sizeof sent), done = 0;
    while (done < count) {
        ssize_t some = write(1, sent + done, count - done);
        if (some <= 0)
            return; /* nobody listens: the line is lost, as on a serial line */
        done += (size_t)some;
    }
}

static int live(uint32_t settling, int hand)
{
    struct pollfd ends[2] = {{.fd = 0, .events = POLLIN}, {.fd = hand, .events = POLLIN}};
    uint32_t boot = milliseconds();
    char bytes[512], command[512];

    model_make(&model, settling);
    model.box.settle = (uint16_t)settling;
    model.now = milliseconds();
    model_power_on(&model, boot);
    for (;;) {
        write_out();
        if (poll(ends, 2, 1) < 0 && errno != EINTR)
            return 1;
        model.now = milliseconds();
        if (ends[0].revents & POLLIN) {
            ssize_t count = read(0, bytes, sizeof bytes);
            if (count > 0)
                model_feed(&model, bytes, (size_t)count);
        }
        if (ends[1].revents & POLLIN) {
            ssize_t count = read(hand, command, sizeof command - 1);
            if (count <= 0)
                return 0;
            command[count] = '\0';
            for (char *rest = command, *next; *rest; rest = next) {
                next = rest + strcspn(rest, "\n");
                if (*next)
                    *next++ = '\0';
                obey(rest);
            }
        } else if (ends[1].revents & (POLLHUP | POLLNVAL)) {
            return 0; /* whoever started it is gone */
        }
        vfoline_poll(&model.line);
    }
}

int main(int argc, char **argv)
{
    if (argc == 2 && !strcmp(argv[1], "script"))
        return script();
    if (argc == 4 && !strcmp(argv[1], "live"))
        return live((uint32_t)strtoul(argv[2], NULL, 10), (int)strtol(argv[3], NULL, 10));
    fprintf(stderr, "usage: %s script | live SETTLE HAND\n", argv[0]);
    return 2;
}
