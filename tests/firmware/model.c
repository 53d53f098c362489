#include "model.h"

#include <string.h>

static void put(void *own, const char *bytes, uint8_t count)
{
    struct model *model = own;
    if (model->count + count <= sizeof model->sent) {
        memcpy(model->sent + model->count, bytes, count);
        model->count += count;
    }
    model->puts++;
}

static uint32_t milliseconds(void *own)
{
    return ((struct model *)own)->now;
}

static int32_t tune(void *own, uint64_t *millihertz)
{
    struct model *model = own;
    (void)millihertz; /* it makes each of them */
    if (model->broken)
        return VFOLINE_BROKEN;
    model->deeds++;
    return (int32_t)model->settling;
}

static int32_t output(void *own, bool on)
{
    struct model *model = own;
    (void)on;
    model->deeds++;
    return model->deed;
}

static int32_t selector(void *own, uint8_t position)
{
    struct model *model = own;
    (void)position;
    model->deeds++;
    return model->deed;
}

static bool level(void *own, uint32_t *counts)
{
    *counts = ((struct model *)own)->level;
    return !((struct model *)own)->blind;
}

static bool battery(void *own, uint16_t *millivolts)
{
    *millivolts = ((struct model *)own)->battery;
    return !((struct model *)own)->blind;
}

static bool temperature(void *own, int16_t *tenths)
{
    *tenths = ((struct model *)own)->temperature;
    return !((struct model *)own)->blind;
}

size_t model_size(void)
{
    return sizeof(struct model);
}

void model_make(struct model *model, uint32_t settling)
{
    memset(model, 0, offsetof(struct model, sent)); /* what was sent is large, and counted */
    model->settling = settling;
    model->box = (struct vfoline_box){
        .model = "reference",
        .firmware = "1.0",
        .serial = "R-0001",
        .low = 100000000u,
        .high = 160000000000u,
        .resolution = 1u,
        .settle = 200u,
        .put = put,
        .milliseconds = milliseconds,
        .tune = tune,
        .output = output,
        .select = selector,
        .mute = output,
        .positions = 16,
        .level = level,
        .battery = battery,
        .temperature = temperature,
    };
}

void model_power_on(struct model *model, uint32_t boot)
{
    model->level = 1234;
    model->battery = 3700;
    model->temperature = 215;
    vfoline_begin(&model->line, &model->box, model, boot, 7000000000u);
}

void model_feed(struct model *model, const char *bytes, size_t count)
{
    for (size_t i = 0; i < count; i++)
        vfoline_feed(&model->line, (uint8_t)bytes[i]);
}

void model_wait(struct model *model, uint32_t time)
{
    model->now += time;
    vfoline_poll(&model->line);
}

void model_turn(struct model *model, uint64_t millihertz)
{
#if VFOLINE_KNOB
    vfoline_tell_knob(&model->line, millihertz);
#else
    (void)model, (void)millihertz;
#endif
}

void model_press(struct model *model, const char *name)
{
#if VFOLINE_TOUCH
    strncpy(model->name, name, sizeof model->name - 1);
    vfoline_tell_button(&model->line, model->name);
#else
    (void)model, (void)name;
#endif
}

void model_battery(struct model *model, uint16_t millivolts)
{
#if VFOLINE_BATTERY
    model->battery = millivolts;
    vfoline_tell_battery(&model->line, millivolts);
#else
    (void)model, (void)millivolts;
#endif
}

bool model_is_busy(const struct model *model)
{
    return model->line.waits || model->line.knob_held || model->line.button ||
           model->line.battery_held;
}

uint64_t model_frequency(const struct model *model)
{
    return model->line.frequency;
}

uint32_t model_step(const struct model *model)
{
    return model->line.step;
}

void model_now(struct model *model, uint32_t time)
{
    model->now = time;
}

void model_break(struct model *model, bool broken)
{
    model->broken = broken;
}

void model_blind(struct model *model, bool blind)
{
    model->blind = blind;
}

void model_deed(struct model *model, int32_t result)
{
    model->deed = result;
}

void model_charge(struct model *model, uint16_t millivolts)
{
    model->battery = millivolts;
}

uint32_t model_deeds(const struct model *model)
{
    return model->deeds;
}

size_t model_take(struct model *model, char *to, size_t room)
{
    size_t count = model->count < room ? model->count : room;
    memcpy(to, model->sent, count);
    model->count = 0;
    return count;
}
