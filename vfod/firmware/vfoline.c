/* vfoline: the answering end of the VFO's line protocol, version 1. See vfoline.h.
 *
 * A line is judged where it lies, in the order of section 5 of protocol.md, by one walk after the
 * other over at most 119 bytes. What is sent is put together on the stack, so that a line goes out
 * in one piece. Numbers in brackets are paragraphs of protocol.md.
 */
#include "vfoline.h"

#define LINE_LIMIT 119u         /* bytes of a line before its end (2.4) */
#define EVENT_SPACING 50u       /* milliseconds (6.4) */
#define BATTERY_SPACING 600000u /* milliseconds (6.1) */
#define LAST_EVENT 65535u
#define HIGHEST_STEP 1000000u
#define HIGHEST_LEVEL 16777215u

enum { NOTHING, TUNE, OUTPUT, SELECT, MUTE, STEP }; /* deeds, which may have to settle */

/* A line that is being put together, and to which tag it is the reply, if to any. */
struct text {
    uint16_t tag;
    bool tagged;
    bool kept; /* for repeats of the request (5.5) */
    uint8_t count;
    char bytes[120];
};

/* A piece of the line that was received. */
struct span {
    const char *at, *end;
};

static uint16_t crc(const char *at, const char *end)
{
    unsigned c = 0xFFFF;
    for (; at < end; at++) {
        c ^= (unsigned)(uint8_t)*at << 8;
        for (int bit = 0; bit < 8; bit++)
            c = (c & 0x8000u ? c << 1 ^ 0x1021u : c << 1) & 0xFFFFu;
    }
    return (uint16_t)c;
}

/* --- putting lines together ------------------------------------------------------------------ */

static void add(struct text *to, char byte)
{
    if (to->count < sizeof to->bytes)
        to->bytes[to->count++] = byte;
}

static void add_most(struct text *to, const char *from, unsigned most)
{
    for (; *from != '\0' && most > 0; most--)
        add(to, *from++);
}

static void add_text(struct text *to, const char *from)
{
    add_most(to, from, sizeof to->bytes);
}

static void add_hex(struct text *to, uint32_t value, int least)
{
    for (int digit = 7; digit >= 0; digit--)
        if (digit < least || value >> (4 * digit) != 0)
            add(to, "0123456789ABCDEF"[value >> (4 * digit) & 15u]);
}

/* Thousandths as a number, with three decimals or with none. Twelve digits, the first one first,
 * by taking away and multiplying: a division of 64 bits is a large piece of code. */
static void add_thousandths(struct text *to, const char *key, uint64_t value, bool decimals)
{
    const uint64_t unit = 100000000000u;
    bool begun = false;
    add_text(to, key);
    for (int place = 11; place >= (decimals ? 0 : 3); place--) {
        char digit = '0';
        for (; value >= unit; value -= unit)
            digit++;
        value *= 10u;
        begun = begun || digit != '0' || place == 3;
        if (place == 2)
            add(to, '.');
        if (begun)
            add(to, digit);
    }
}

static void add_whole(struct text *to, const char *key, uint32_t value)
{
    add_thousandths(to, key, (uint64_t)value * 1000u, false);
}

static void add_hertz(struct text *to, const char *key, uint64_t millihertz)
{
    add_thousandths(to, key, millihertz, true);
}

static void send(struct vfoline *line, struct text *text)
{
    uint16_t check = crc(text->bytes, text->bytes + text->count);
    add_text(text, " *");
    add_hex(text, check, 4);
    add(text, '\n');
    line->box->put(line->own, text->bytes, text->count);
}

static void start(struct text *to, const char *outcome)
{
    to->count = 0;
    if (to->tagged) {
        add(to, '#');
        add_hex(to, to->tag, 4);
        add(to, ' ');
    }
    add_text(to, outcome);
}

static void finish(struct vfoline *line, struct text *to)
{
    add_whole(to, " e=", line->event);
    add_whole(to, " h=", line->hand);
    send(line, to);
    if (to->kept) {
        for (uint8_t i = 0; i < to->count; i++)
            line->reply[i] = to->bytes[i];
        line->reply_length = to->count;
    }
}

/* `why` is for a person (8.2) and may be about the field `key`. */
static void refuse(struct vfoline *line, struct text *to, const char *code, const char *key,
                   const char *why)
{
    start(to, "err code=");
    add_text(to, code);
    add_text(to, " why=");
    add_text(to, key);
    add_text(to, why);
    finish(line, to);
}

static void refuse_for_hand(struct vfoline *line, struct text *to)
{
    start(to, "err code=hand why=hand-moved-since");
    add_hertz(to, " f=", line->frequency); /* (6.9) */
    finish(line, to);
}

/* --- events (section 6) ------------------------------------------------------------------------ */

static void start_event(struct vfoline *line, struct text *text, const char *what)
{
    line->event = (uint16_t)(line->event == LAST_EVENT ? 1u : line->event + 1u);
    text->count = 0;
    add_whole(text, "!", line->event);
    add_text(text, what);
}

/* Send the held event whose turn it is, if the last one is long enough ago: one millisecond more
 * than the spacing must have been counted, because the one it was sent in had begun before. */
static void tell_next(struct vfoline *line)
{
    uint32_t now = line->box->milliseconds(line->own);
    struct text text;

    if (now - line->event_at <= EVENT_SPACING)
        return;
    if (VFOLINE_KNOB && line->knob_held && !(line->button && line->button_first)) {
        line->knob_held = false;
        start_event(line, &text, " knob");
        line->hand = line->event;
        add_hertz(&text, " f=", line->frequency);
    } else if (VFOLINE_TOUCH && line->button) {
        start_event(line, &text, " button b=");
        line->hand = line->event;
        add_most(&text, line->button, 12);
        line->button = 0;
    } else if (VFOLINE_BATTERY && line->battery_held) {
        line->battery_held = false;
        start_event(line, &text, " battery");
        add_whole(&text, " mv=", line->millivolts);
    } else {
        return;
    }
    line->event_at = now;
    send(line, &text);
}

/* --- reading a line ---------------------------------------------------------------------------- */

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* Four hexadecimal digits of either case. */
static bool read_hex(const char *at, uint16_t *value)
{
    unsigned sum = 0;
    for (int i = 0; i < 4; i++, at++) {
        char low = (char)(*at | 0x20);
        if (!is_digit(*at) && !(low >= 'a' && low <= 'f'))
            return false;
        sum = sum << 4 | (unsigned)(is_digit(*at) ? *at - '0' : low - 'a' + 10);
    }
    *value = (uint16_t)sum;
    return true;
}

/* The next word, which begins and ends at spaces; `rest` is what follows. Empty at the end. */
static struct span next_word(struct span *rest)
{
    struct span word;
    while (rest->at < rest->end && *rest->at == ' ')
        rest->at++;
    word.at = rest->at;
    while (rest->at < rest->end && *rest->at != ' ')
        rest->at++;
    word.end = rest->at;
    return word;
}

/* The key of a field; its value begins behind the `=`, if there is one. */
static struct span key_of(struct span word)
{
    const char *end = word.end;
    for (word.end = word.at; word.end < end && *word.end != '=';)
        word.end++;
    return word;
}

static bool is(struct span word, const char *text)
{
    /* A bad line may have bytes 00. */
    while (word.at < word.end && *text != '\0' && *text == *word.at) {
        word.at++;
        text++;
    }
    return word.at == word.end && *text == '\0';
}

/* Whether it is a `word` of the grammar (3.1). */
static bool is_word(struct span word)
{
    bool right = word.at < word.end && !is_digit(*word.at);
    for (; word.at < word.end; word.at++)
        right = right && (is_digit(*word.at) || (*word.at >= 'a' && *word.at <= 'z'));
    return right;
}

static bool has_key(struct span words, struct span key)
{
    for (struct span word = next_word(&words); word.at < word.end; word = next_word(&words)) {
        const char *one = key.at, *end = key_of(word).end;
        while (one < key.end && word.at < end && *one == *word.at) {
            one++;
            word.at++;
        }
        if (one == key.end && word.at == end)
            return true;
    }
    return false;
}

/* Whether these words are fields (3.1) of different keys (3.4). No space, no byte that cannot be
 * printed, no `#` and no `!` can be among their characters. */
static bool are_fields(struct span words)
{
    for (struct span word = next_word(&words); word.at < word.end; word = next_word(&words)) {
        struct span key = key_of(word);
        if (!is_word(key) || word.end - key.end < 2 || has_key(words, key))
            return false;
        for (const char *at = key.end + 1; at < word.end; at++)
            if (*at == '=' || *at == '*')
                return false;
    }
    return true;
}

/* Digits from `*at` on, at most `most`, as if they were `places` with zeros behind. */
static uint32_t read_digits(const char **at, const char *end, int most, int places)
{
    uint32_t sum = 0;
    for (; *at < end && is_digit(**at) && most > 0; most--, places--)
        sum = sum * 10u + (uint32_t)(*(*at)++ - '0');
    for (; places > 0; places--)
        sum *= 10u;
    return sum;
}

enum form { MISSING, WRONG, RIGHT };

/* The number of a key: one to nine digits; with `thousandths` perhaps a point and one to three
 * digits more (3.1). */
static enum form read_number(struct span fields, const char *key, uint32_t *whole,
                             uint32_t *thousandths)
{
    struct span word = next_word(&fields);
    while (word.at < word.end && !is(key_of(word), key))
        word = next_word(&fields);
    if (word.at == word.end)
        return MISSING;

    const char *at = key_of(word).end + 1, *begin = at;
    *whole = read_digits(&at, word.end, 9, 0);
    if (at == begin)
        return WRONG;
    if (thousandths && at < word.end && *at == '.') {
        begin = ++at;
        *thousandths = read_digits(&at, word.end, 3, 3);
        if (at == begin)
            return WRONG;
    }
    return at == word.end ? RIGHT : WRONG;
}

static void refuse_form(struct vfoline *line, struct text *to, const char *key, enum form form)
{
    refuse(line, to, "syntax", key, form == MISSING ? "-is-missing" : "-is-no-number");
}

/* --- deeds ------------------------------------------------------------------------------------- */

static void answer_deed(struct vfoline *line, struct text *to, uint8_t what)
{
    start(to, "ok");
    if (what == TUNE)
        add_hertz(to, " f=", line->frequency);
    finish(line, to);
}

/* Answer what was done, was not, or will have settled after `result` milliseconds. */
static void done(struct vfoline *line, struct text *to, uint8_t what, int32_t result)
{
    if (result == VFOLINE_BEYOND) {
        refuse(line, to, "range", "", "not-in-this-box");
    } else if (result < 0) {
        refuse(line, to, "hardware", "", "it-failed");
    } else if (result == 0) {
        answer_deed(line, to, what);
    } else {
        line->waits = what;
        line->wait_tagged = to->tagged;
        line->wait_from = line->box->milliseconds(line->own);
        line->wait_for = (uint32_t)result;
    }
}

/* To whom the answer goes that is due now. Nothing that is remembered came in between, so the
 * newest tag is still that of its request. */
static void stop_waiting(struct vfoline *line, struct text *to)
{
    to->tag = line->tag;
    to->tagged = to->kept = line->wait_tagged;
    line->waits = NOTHING;
}

static void tune(struct vfoline *line, struct text *to, struct span fields)
{
    uint32_t hertz = 0, thousandths = 0, hand = 0;
    enum form form = read_number(fields, "f", &hertz, &thousandths);
    enum form hand_form = read_number(fields, "h", &hand, 0);
    uint64_t wanted = (uint64_t)hertz * 1000u + thousandths;

    if (form != RIGHT) {
        refuse_form(line, to, "f", form);
    } else if (hand_form == WRONG) {
        refuse_form(line, to, "h", WRONG);
    } else if (wanted < line->box->low || wanted > line->box->high) {
        refuse(line, to, "range", "f", "-out-of-range");
    } else if (hand > LAST_EVENT) {
        refuse(line, to, "range", "h", "-out-of-range");
    } else if (hand_form == RIGHT && (hand != line->hand || line->knob_held || line->button)) {
        refuse_for_hand(line, to); /* (6.7) */
    } else {
        int32_t result = line->box->tune(line->own, &wanted);
        if (result >= 0)
            line->frequency = wanted;
        done(line, to, TUNE, result);
    }
}

/* A deed that has one number. */
static void set(struct vfoline *line, struct text *to, struct span fields, uint8_t what)
{
    const struct vfoline_box *box = line->box;
    const char *key = what == STEP ? "hz" : what == SELECT ? "n" : "on";
    uint32_t high = what == STEP ? HIGHEST_STEP : what == SELECT ? box->positions - 1u : 1u;
    uint32_t value = 0;
    enum form form = read_number(fields, key, &value, 0);
    int32_t result = 0;

    if (form != RIGHT) {
        refuse_form(line, to, key, form);
        return;
    }
    if (value > high || (what == STEP && value == 0)) {
        refuse(line, to, "range", key, "-out-of-range");
        return;
    }
    if (VFOLINE_OUTPUT && what == OUTPUT) {
        result = box->output(line->own, value != 0);
        line->output = result < 0 ? line->output : value != 0;
    } else if (VFOLINE_MUTE && what == MUTE) {
        result = box->mute(line->own, value != 0);
        line->mute = result < 0 ? line->mute : value != 0;
    } else if (VFOLINE_SELECT && what == SELECT) {
        result = box->select(line->own, (uint8_t)value);
        line->position = result < 0 ? line->position : (uint8_t)value;
    } else if (VFOLINE_KNOB && what == STEP) {
        result = box->step ? box->step(line->own, value) : 0;
        line->step = result < 0 ? line->step : value;
    }
    done(line, to, what, result);
}

static void add_reading(struct vfoline *line, struct text *to)
{
    const struct vfoline_box *box = line->box;
    uint32_t counts = 0;
    uint16_t millivolts = 0;
    int16_t tenths = 0;

    add_hertz(to, " f=", line->frequency);
    if (VFOLINE_OUTPUT)
        add_whole(to, " out=", line->output);
    if (VFOLINE_SELECT)
        add_whole(to, " sel=", line->position);
    if (VFOLINE_MUTE)
        add_whole(to, " mute=", line->mute);
    if (VFOLINE_KNOB)
        add_whole(to, " step=", line->step);
    if (VFOLINE_LEVEL && box->level(line->own, &counts))
        add_whole(to, " level=", counts < HIGHEST_LEVEL ? counts : HIGHEST_LEVEL);
    if (VFOLINE_BATTERY && box->battery(line->own, &millivolts))
        add_whole(to, " battery=", millivolts);
    if (VFOLINE_TEMPERATURE && box->temperature(line->own, &tenths))
        add_whole(to, tenths < 0 ? " temp=-" : " temp=",
                  (uint32_t)(tenths < 0 ? -(int32_t)tenths : (int32_t)tenths));
}

static void add_abilities(struct text *to)
{
    uint8_t before = to->count;
    add_text(to, VFOLINE_KNOB ? ",knob" : "");
    add_text(to, VFOLINE_TOUCH ? ",touch" : "");
    add_text(to, VFOLINE_LEVEL ? ",level" : "");
    add_text(to, VFOLINE_BATTERY ? ",battery" : "");
    add_text(to, VFOLINE_TEMPERATURE ? ",temperature" : "");
    add_text(to, VFOLINE_OUTPUT ? ",output" : "");
    add_text(to, VFOLINE_SELECT ? ",select" : "");
    add_text(to, VFOLINE_MUTE ? ",mute" : "");
    if (to->count == before)
        add_text(to, "=none");
    to->bytes[before] = '=';
}

/* --- the order of judgement (section 5) -------------------------------------------------------- */

static void carry_out(struct vfoline *line, struct text *to, struct span verb, struct span fields)
{
    const struct vfoline_box *box = line->box;
    uint8_t what = VFOLINE_OUTPUT && is(verb, "output")   ? OUTPUT
                   : VFOLINE_SELECT && is(verb, "select") ? SELECT
                   : VFOLINE_MUTE && is(verb, "mute")     ? MUTE
                   : VFOLINE_KNOB && is(verb, "step")     ? STEP
                                                          : NOTHING;
    if (what != NOTHING) {
        set(line, to, fields, what);
        return;
    }
    if (is(verb, "tune")) {
        tune(line, to, fields);
        return;
    }
    start(to, "ok");
    if (is(verb, "who")) {
        add_text(to, " proto=1 model=");
        add_most(to, box->model, 12);
        add_text(to, " fw=");
        add_most(to, box->firmware, 12);
        add_text(to, " serial=");
        add_most(to, box->serial, 16);
        add_text(to, " boot=");
        add_hex(to, line->boot, 1);
    } else if (is(verb, "range")) {
        add_hertz(to, " low=", box->low);
        add_hertz(to, " high=", box->high);
        add_hertz(to, " res=", box->resolution);
        add_whole(to, " settle=", box->settle);
    } else if (is(verb, "can")) {
        add_text(to, " can");
        add_abilities(to);
    } else if (is(verb, "read")) {
        add_reading(line, to);
    } else if (is(verb, "ping")) {
        add_text(to, " boot=");
        add_hex(to, line->boot, 1);
    } else {
        refuse(line, to, "unknown", "", "no-such-verb-here");
        return;
    }
    finish(line, to);
}

/* One of the box's own lines, which a terminal has sent back (5.1). */
static bool is_own(struct span line)
{
    if (*line.at == '!')
        return true;
    struct span word = next_word(&line);
    if (word.at < word.end && *word.at == '#')
        word = next_word(&line);
    return is(word, "ok") || is(word, "err");
}

static struct span without_spaces_at_end(struct span of)
{
    while (of.at < of.end && of.end[-1] == ' ')
        of.end--;
    return of;
}

static bool has_star(struct span in)
{
    for (; in.at < in.end; in.at++)
        if (*in.at == '*')
            return true;
    return false;
}

static void judge(struct vfoline *line)
{
    struct text to = {.tagged = false};
    struct span rest = {line->line, line->line + line->length}, verb;
    uint16_t check = 0;
    bool sound = true;

    rest = without_spaces_at_end(rest);
    if (rest.at == rest.end || is_own(rest))
        return;
    if (line->bad) {
        refuse(line, &to, "syntax", "", "no-line");
        return;
    }
    if (rest.end - rest.at >= 6 && rest.end[-6] == ' ' && rest.end[-5] == '*' &&
        read_hex(rest.end - 4, &check)) {
        rest.end -= 6;
        if (check != crc(rest.at, rest.end)) {
            refuse(line, &to, "checksum", "", "checksum-differs");
            return;
        }
        rest = without_spaces_at_end(rest);
    } else if (*rest.at == '#' || has_star(rest)) {
        refuse(line, &to, "checksum", "", "no-checksum");
        return;
    }
    if (*line->line == '#') {
        /* Six bytes are there, since the checksum alone is six. */
        sound = to.tagged = read_hex(line->line + 1, &to.tag) && line->line[5] == ' ';
        rest.at += sound ? 5 : 0;
    }
    verb = next_word(&rest);
    if (!sound || !is_word(verb) || !are_fields(rest)) {
        refuse(line, &to, "syntax", "", "not-in-the-grammar");
        return;
    }
    if (to.tagged && line->known && to.tag == line->tag && check == line->check) {
        if (line->reply_length > 0)
            line->box->put(line->own, line->reply, line->reply_length);
        return;
    }
    if (line->waits != NOTHING && !is(verb, "ping")) {
        refuse(line, &to, "busy", "", "another-request-waits");
        return;
    }
    if (to.tagged && line->waits == NOTHING) {
        line->known = to.kept = true;
        line->tag = to.tag;
        line->check = check;
        line->reply_length = 0;
    }
    carry_out(line, &to, verb, rest);
}

/* --- what the builder calls -------------------------------------------------------------------- */

void vfoline_begin(struct vfoline *line, const struct vfoline_box *box, void *own, uint32_t boot,
                   uint64_t frequency)
{
    struct text text;
    *line = (struct vfoline){.frequency = frequency,
                             .step = 1000,
                             .event_at = box->milliseconds(own),
                             .boot = boot,
                             .box = box,
                             .own = own};
    start_event(line, &text, " boot boot=");
    add_hex(&text, boot, 1);
    send(line, &text);
}

void vfoline_feed(struct vfoline *line, uint8_t byte)
{
    if (byte == '\n' || byte == '\r') {
        vfoline_poll(line);
        judge(line);
    }
    if (byte == '\n' || byte == '\r' || byte == '#' || byte == '!') {
        line->length = 0;
        line->bad = false;
    }
    if (byte == '\n' || byte == '\r')
        return;
    if (byte < 0x20 || byte > 0x7E || line->length == LINE_LIMIT)
        line->bad = true;
    if (line->length < LINE_LIMIT)
        line->line[line->length++] = (char)byte;
}

void vfoline_poll(struct vfoline *line)
{
    /* More than what was asked for, for the reason given at tell_next. */
    if (line->waits != NOTHING &&
        line->box->milliseconds(line->own) - line->wait_from > line->wait_for) {
        struct text to;
        uint8_t what = line->waits;
        stop_waiting(line, &to);
        answer_deed(line, &to, what);
    }
    tell_next(line);
}

#if VFOLINE_KNOB
void vfoline_tell_knob(struct vfoline *line, uint64_t millihertz)
{
    if (millihertz == line->frequency)
        return; /* at the end of the range the knob has no effect (6.10) */
    line->frequency = millihertz;
    line->knob_held = true;
    line->button_first = line->button != 0;
    tell_next(line);
    if (line->waits == TUNE) {
        struct text to;
        stop_waiting(line, &to);
        refuse_for_hand(line, &to); /* (6.8) */
    }
}
#endif

#if VFOLINE_TOUCH
void vfoline_tell_button(struct vfoline *line, const char *name)
{
    if (!line->button)
        line->button_first = false;
    line->button = name;
    tell_next(line);
}
#endif

#if VFOLINE_BATTERY
void vfoline_tell_battery(struct vfoline *line, uint16_t millivolts)
{
    uint32_t now = line->box->milliseconds(line->own);
    line->millivolts = millivolts;
    if (line->battery_told && now - line->battery_at <= BATTERY_SPACING)
        return;
    line->battery_told = line->battery_held = true;
    line->battery_at = now;
    tell_next(line);
}
#endif
