/* vfoline: the answering end of the VFO's line protocol, version 1 (protocol.md).
 *
 * You describe your box in a `struct vfoline_box`, call `vfoline_begin` once, and in the main loop
 * `vfoline_feed` with each byte that arrived and `vfoline_poll` each time round. What a hand does
 * you tell with the `vfoline_tell_...` functions. Everything else that the protocol asks of a box
 * is done in vfoline.c. Numbers in brackets are paragraphs of protocol.md.
 *
 * C99, no heap, no floating point, no division, no library. All state is in one struct, so there
 * can be several. Nothing here may be called from an interrupt, nor from one of your functions
 * below; a `struct vfoline` may be read at any time, and which of its members you may write is
 * said there.
 */
#ifndef VFOLINE_H
#define VFOLINE_H

#include <stdbool.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* What your box can do (4.7): write 1 here, or -DVFOLINE_KNOB=1 for every file that includes this
 * one. What stays 0 is not compiled. */
#ifndef VFOLINE_KNOB
#define VFOLINE_KNOB 0        /* a hand can tune it */
#endif
#ifndef VFOLINE_TOUCH
#define VFOLINE_TOUCH 0       /* it has buttons or touched areas */
#endif
#ifndef VFOLINE_LEVEL
#define VFOLINE_LEVEL 0       /* it measures the level of the receiver */
#endif
#ifndef VFOLINE_BATTERY
#define VFOLINE_BATTERY 0     /* it measures its battery */
#endif
#ifndef VFOLINE_TEMPERATURE
#define VFOLINE_TEMPERATURE 0 /* it measures its temperature */
#endif
#ifndef VFOLINE_OUTPUT
#define VFOLINE_OUTPUT 0      /* it can switch its output */
#endif
#ifndef VFOLINE_SELECT
#define VFOLINE_SELECT 0      /* it has a selector, such as a band filter */
#endif
#ifndef VFOLINE_MUTE
#define VFOLINE_MUTE 0        /* it can silence a speaker */
#endif

/* What your functions give back when the deed was not done; otherwise they give the milliseconds
 * until it has settled: 0 for at once, at most `settle`. The answer is sent when they are over. */
#define VFOLINE_BEYOND (-1) /* there is no such position or step: the host reads `range` */
#define VFOLINE_BROKEN (-2) /* it should work and does not: the host reads `hardware` */

/* Your box. It is only read, so it may be const and lie in flash. Frequencies are in millihertz,
 * below 10 to the 12th. Each function gets the `own` of vfoline_begin. */
struct vfoline_box {
    const char *model;    /* up to 12 characters of 21 to 7E (hexadecimal) without ! # * = */
    const char *firmware; /* the same */
    const char *serial;   /* the same, up to 16 */
    uint64_t low;         /* lowest and highest frequency */
    uint64_t high;
    uint32_t resolution; /* largest distance between neighbouring frequencies, at least 1 */
    uint16_t settle;     /* milliseconds, the longest that a tune takes to be quiet again (4.6) */

    /* Send the whole line, now or later, in one piece; or drop the whole line when it cannot go,
     * because nobody listens. Never wait for the other side (1.7). */
    void (*put)(void *own, const char *bytes, uint8_t count);
    /* A clock that counts on and goes from FFFFFFFF to 0. */
    uint32_t (*milliseconds)(void *own);
    /* Set the oscillator as near to `*millihertz` as it can, and write what it really makes
     * there. It is always within low to high. */
    int32_t (*tune)(void *own, uint64_t *millihertz);

    /* From here on only what your box can do. These are answered as `tune` is: */
    int32_t (*output)(void *own, bool on);
    int32_t (*select)(void *own, uint8_t position);
    int32_t (*mute)(void *own, bool silent);
    int32_t (*step)(void *own, uint32_t hertz); /* 1 to 1000000; 0 here: every step is taken */
    uint8_t positions;                          /* of the selector, 1 to 16; the first is 0 */
    /* These measure now, and give back false when it cannot be measured. */
    bool (*level)(void *own, uint32_t *counts); /* more signal, more counts; up to 16777215 */
    bool (*battery)(void *own, uint16_t *millivolts);
    bool (*temperature)(void *own, int16_t *tenths); /* of a degree Celsius, -1000 to 2000 */
};

/* The state of one line. */
struct vfoline {
    /* Where the output is, millihertz. Read it; vfoline_tell_knob changes it. */
    uint64_t frequency;
    /* As the host set them. Write them as well when a switch of your own does. */
    uint32_t step; /* of the knob, hertz; 1000 after vfoline_begin */
    bool output, mute;
    uint8_t position; /* of the selector */

    /* What follows is for vfoline.c only. */
    uint8_t waits; /* which deed has to settle before its request is answered */
    bool wait_tagged;
    bool known; /* there is a newest tagged request (5.5): */
    uint16_t tag, check;
    uint16_t event, hand; /* numbers of the newest event and of the newest by a hand */
    uint32_t wait_from, wait_for, event_at, battery_at; /* milliseconds */
    uint32_t boot;
    const struct vfoline_box *box;
    void *own;
    const char *button;                         /* events that are held back (6.4) */
    bool knob_held, button_first, battery_held; /* a button before a knob that it turned (6.3) */
    bool battery_told;
    uint16_t millivolts;
    bool bad;
    uint8_t length, reply_length;
    char line[119];  /* what is being received (2.4) */
    char reply[120]; /* to the newest tagged request; of length 0 while it is still to come */
};

/* Power is on, the oscillator makes `frequency` (millihertz), and the output is off, the position
 * 0, the speaker heard. `boot` must be another number than the last time (4.5). Sends the boot
 * event, so the line must be ready. `box` must stay where it is. */
void vfoline_begin(struct vfoline *line, const struct vfoline_box *box, void *own, uint32_t boot,
                   uint64_t frequency);

/* A byte has arrived. Answers what is complete with it. */
void vfoline_feed(struct vfoline *line, uint8_t byte);

/* Sends what is due by now. Call it every 10 milliseconds or more often. */
void vfoline_poll(struct vfoline *line);

#if VFOLINE_KNOB
/* A hand has brought the output to this frequency, which you have set already; within low to
 * high. Tell it at every step: the protocol's 20 events a second are kept here (6.4). */
void vfoline_tell_knob(struct vfoline *line, uint64_t millihertz);
#endif
#if VFOLINE_TOUCH
/* A hand pressed the button of this name, up to 12 characters as in `model`; the text must stay
 * where it is. When the button changes the frequency, tell it first and the knob after it. */
void vfoline_tell_button(struct vfoline *line, const char *name);
#endif
#if VFOLINE_BATTERY
/* The battery has fallen below your threshold: tell it at that moment. One that trembles around it
 * may be told again and again; more than one in ten minutes is not sent (6.1). */
void vfoline_tell_battery(struct vfoline *line, uint16_t millivolts);
#endif

#ifdef __cplusplus
}
#endif

#endif
