/* An example of a main loop around vfoline, for a box with a knob, a button, a level detector and a
 * switched output. It belongs to you: take over what fits and throw away the rest.
 *
 * Compile with -DVFOLINE_KNOB=1 -DVFOLINE_TOUCH=1 -DVFOLINE_LEVEL=1 -DVFOLINE_OUTPUT=1, or write
 * these into vfoline.h.
 */
#include "vfoline.h"

/* --- what your board does: the functions that are missing here, yours to write ----------------- */

void board_start(void);
uint32_t board_milliseconds(void);
uint32_t board_boot_number(void);                     /* another one after each reset (4.5) */
void board_send(const char *bytes, uint8_t count);    /* on the serial line */
bool board_set_oscillator(uint64_t *millihertz);      /* in: wanted, out: made; false: it failed */
bool board_measure_level(uint32_t *counts);           /* false: not now */
void board_switch_output(bool on);
const char *board_pressed_button(void);               /* since the last call; 0 for none */
void board_rest(void);                                /* until an interrupt; may do nothing */

/* What your interrupts call: see below. */
void example_byte_received(uint8_t byte);
void example_knob_stepped(bool up);

/* --- interrupts: they put aside what happened, and nothing more -------------------------------- */

#define RING 256u /* bytes that may arrive without a pause (1.4); a power of two */

static volatile uint8_t ring[RING];
static volatile uint16_t ring_in; /* counts on; written by the interrupt only */
static uint16_t ring_out;         /* counts on; written by the main loop only */
static volatile uint8_t knob;     /* counts on, up and down; written by the interrupt only */

void example_byte_received(uint8_t byte)
{
    ring[ring_in % RING] = byte;
    ring_in++;
}

void example_knob_stepped(bool up)
{
    knob = (uint8_t)(up ? knob + 1u : knob - 1u);
}

/* --- what vfoline asks for --------------------------------------------------------------------- */

#define SETTLE 20u /* milliseconds, found as firmware.md tells */

static void put(void *own, const char *bytes, uint8_t count)
{
    (void)own;
    board_send(bytes, count);
}

static uint32_t milliseconds(void *own)
{
    (void)own;
    return board_milliseconds();
}

static int32_t tune(void *own, uint64_t *millihertz)
{
    (void)own;
    return board_set_oscillator(millihertz) ? (int32_t)SETTLE : VFOLINE_BROKEN;
}

static int32_t output(void *own, bool on)
{
    (void)own;
    board_switch_output(on);
    return 0;
}

static bool level(void *own, uint32_t *counts)
{
    (void)own;
    return board_measure_level(counts);
}

static const struct vfoline_box box = {
    .model = "example",
    .firmware = "1.0",
    .serial = "0001",
    .low = 100000000u,          /* 100 kHz in millihertz */
    .high = 160000000000u,      /* 160 MHz */
    .resolution = 1u,
    .settle = SETTLE,
    .put = put,
    .milliseconds = milliseconds,
    .tune = tune,
    .output = output,
    .level = level,
};

static struct vfoline line;

/* --- the hand ---------------------------------------------------------------------------------- */

static void take_knob(void)
{
    static uint8_t taken;
    int8_t steps = (int8_t)(uint8_t)(knob - taken);
    int64_t wanted = (int64_t)line.frequency + (int64_t)steps * (int64_t)line.step * 1000;
    uint64_t made;

    if (steps == 0)
        return;
    taken = (uint8_t)(taken + (uint8_t)steps);
    made = wanted < (int64_t)box.low    ? box.low
           : wanted > (int64_t)box.high ? box.high
                                        : (uint64_t)wanted;
    if (board_set_oscillator(&made))
        vfoline_tell_knob(&line, made);
}

static void take_button(void)
{
    const char *name = board_pressed_button();
    if (name)
        vfoline_tell_button(&line, name);
}

/* --- the main loop ----------------------------------------------------------------------------- */

int main(void)
{
    uint64_t frequency = 7000000000u;

    board_start();
    board_switch_output(false);
    (void)board_set_oscillator(&frequency);
    vfoline_begin(&line, &box, 0, board_boot_number(), frequency);
    for (;;) {
        take_knob(); /* before the bytes, so that a hand comes before the host */
        take_button();
        while (ring_out != ring_in)
            vfoline_feed(&line, ring[ring_out++ % RING]);
        vfoline_poll(&line);
        board_rest();
    }
}
