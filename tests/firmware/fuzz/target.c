/* The responder under libFuzzer: any bytes, and a hand and the time in between.
 *
 * An input is bytes for the box; FF introduces what is none, as moves.py tells. What the box sends
 * is looked at by rules of docs/protocol.md that are written down here once more; a breach ends the
 * run like a sanitizer's finding.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "model.h"

#define SPACING 51u
#define TEN_MINUTES 600001u
#define SLOW 2000000000u

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);
size_t LLVMFuzzerMutate(uint8_t *data, size_t size, size_t room);
size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t size, size_t room, unsigned seed);

static struct model model;
static unsigned newest; /* event that was seen */

/* CRC-16/IBM-3740 (3.6), from its definition: a bit of the message at a time, then 16 zeros;
 * 84CF is the register that gives FFFF before the first bit when there are 16 bits behind it. */
static unsigned check_of(const uint8_t *bytes, size_t count)
{
    unsigned rest = 0x84CF;
    for (size_t i = 0; i < 8 * (count + 2); i++) {
        unsigned in = i < 8 * count ? bytes[i / 8] >> (7 - i % 8) & 1u : 0u;
        unsigned out = rest >> 15;
        rest = (rest << 1 | in) & 0xFFFFu;
        if (out)
            rest ^= 0x1021u;
    }
    return rest;
}

static void demand(int holds, const char *what, const char *line, size_t count)
{
    if (holds)
        return;
    fprintf(stderr, "%s: %.*s\n", what, (int)count, line);
    abort();
}

/* One line without its end. */
static void look_at(const char *line, size_t count)
{
    char check[8];
    demand(count <= 119, "longer than 120 bytes (2.4)", line, count);
    for (size_t i = 0; i < count; i++)
        demand(line[i] >= 0x20 && line[i] <= 0x7E, "not printable (2.1)", line, count);
    demand(count > 6 && !strchr(" ", line[0]) && line[count - 7] != ' ', "spaces (3.2)", line, count);
    snprintf(check, sizeof check, " *%04X", check_of((const uint8_t *)line, count - 6));
    demand(!memcmp(line + count - 6, check, 6), "checksum (3.6)", line, count);
    if (line[0] == '!') {
        unsigned number = (unsigned)strtoul(line + 1, NULL, 10);
        demand(number == newest % 65535u + 1u, "number of the event (6.2)", line, count);
        newest = number;
        return;
    }
    if (line[0] == '#') {
        demand(count > 12 && line[5] == ' ', "tag (3.9)", line, count);
        line += 6;
        count -= 6;
    }
    demand(!memcmp(line, "ok ", 3) || !memcmp(line, "err code=", 9), "outcome (3.1)", line, count);
}

static void look(void)
{
    static char sent[sizeof model.sent];
    size_t count = model_take(&model, sent, sizeof sent);
    for (char *line = sent, *end; line < sent + count; line = end + 1) {
        end = memchr(line, '\n', (size_t)(sent + count - line));
        demand(end != NULL, "no line end (2.1)", line, (size_t)(sent + count - line));
        look_at(line, (size_t)(end - line));
    }
}

static void power_on(uint8_t boot)
{
    newest = 0;
    model_power_on(&model, boot);
    look();
}

static void move(uint8_t what, uint8_t how)
{
    static const char *const names[] = {"up", "down", "twelve-chars"};
    switch (what & 7u) {
    case 1:
        model_wait(&model, SPACING);
        /* fall through */
    case 2:
        model_turn(&model, 7000000000u + 1000000u * (uint64_t)how);
        break;
    case 3:
        model_wait(&model, SPACING);
        /* fall through */
    case 4:
        model_press(&model, names[how % 3u]);
        break;
    case 5:
        model_wait(&model, how & 1u ? SLOW + 1u : SPACING);
        break;
    case 6:
        model_wait(&model, TEN_MINUTES);
        model_battery(&model, (uint16_t)(how * 257u));
        break;
    case 7:
        if (how & 1u)
            power_on(how);
        else
            model_break(&model, how & 2u);
        break;
    default:
        model_feed(&model, "\xFF", 1);
        break;
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char ping[] = "\n#FFFF ping *AAAA\n";
    size_t lines = 0;

    if (size == 0)
        return 0;
    model_make(&model, data[0] & 1u ? SLOW : 0u);
    power_on(0x1A);
    for (size_t i = 1; i < size; i++) {
        if (data[i] != 0xFF)
            model_feed(&model, (const char *)data + i, 1);
        else if (i + 2 < size)
            move(data[i + 1], data[i + 2]), i += 2;
        lines += data[i] == '\n' || data[i] == '\r';
        if (model.count > 0)
            look();
    }
    demand(model.puts <= lines + 3 * size, "more lines than there were reasons for", "", 0);

    /* Whatever there was, the next good line is answered (2.7). */
    model_wait(&model, SLOW + 1u);
    model_wait(&model, SPACING);
    model_wait(&model, SPACING);
    look();
    snprintf(ping + 13, sizeof ping - 13, "%04X\n", check_of((const uint8_t *)ping + 1, 10));
    model_feed(&model, "\n", 1); /* may end a line that is answered */
    look();
    model_feed(&model, ping, sizeof ping - 1);
    demand(model.count > 14 && !memcmp(model.sent, "#FFFF ok boot=", 14), "no answer", model.sent,
           model.count);
    look();
    return 0;
}

/* Puts right checksums where checksums are, for else hardly a line would get past 5.3. */
size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t size, size_t room, unsigned seed)
{
    size_t begin = 1;
    char check[5];
    size = LLVMFuzzerMutate(data, size, room);
    if (seed % 8u == 0)
        return size;
    for (size_t i = 1; i + 5 < size; i++) {
        if (data[i] == '\n' || data[i] == '\r')
            begin = i + 1;
        if (data[i] == '#' || data[i] == '!')
            begin = i;
        if (data[i] == ' ' && data[i + 1] == '*') {
            snprintf(check, sizeof check, "%04X", check_of(data + begin, i - begin));
            memcpy(data + i + 2, check, 4);
        }
    }
    return size;
}
