/* The builder's side of the reference box of docs/protocol-vectors.yaml, for tests on a computer.
 * Time is what it is told, except when `live` is set. */
#ifndef MODEL_H
#define MODEL_H

#include <stddef.h>

#include "vfoline.h"

struct model {
    struct vfoline_box box;
    struct vfoline line;
    uint32_t now;      /* milliseconds */
    uint32_t settling; /* what a tune takes, milliseconds */
    bool broken;       /* every tune fails */
    bool blind;        /* nothing can be measured */
    int32_t deed;      /* what the other deeds give back */
    uint32_t level;
    uint16_t battery;
    int16_t temperature;
    uint32_t deeds;    /* how often anything was set */
    uint32_t puts;     /* how often bytes were put */
    char name[13];
    size_t count;
    char sent[1u << 16];
};

size_t model_size(void);
/* A box as the vectors have it; nothing is sent yet. */
void model_make(struct model *model, uint32_t settling);
void model_power_on(struct model *model, uint32_t boot);
void model_feed(struct model *model, const char *bytes, size_t count);
void model_wait(struct model *model, uint32_t milliseconds);
void model_turn(struct model *model, uint64_t millihertz);
void model_press(struct model *model, const char *name);
void model_battery(struct model *model, uint16_t millivolts);
/* Whether a poll may have something to do later. */
bool model_is_busy(const struct model *model);
uint64_t model_frequency(const struct model *model);
uint32_t model_step(const struct model *model);
/* From now on; the responder is not called. */
void model_now(struct model *model, uint32_t milliseconds);
void model_break(struct model *model, bool broken);
void model_blind(struct model *model, bool blind);
void model_deed(struct model *model, int32_t result);
void model_charge(struct model *model, uint16_t millivolts);
uint32_t model_deeds(const struct model *model);
/* Takes what was sent since the last time; gives how many bytes. */
size_t model_take(struct model *model, char *to, size_t room);

#endif
