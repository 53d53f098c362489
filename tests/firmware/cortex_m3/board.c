/* The board of the example: a Cortex-M3 as the emulator has it (machine lm3s6965evb).
 *
 * Start-up code, a millisecond clock, the line on the first UART, and a hand on the second: `+` and
 * `-` turn the knob by a step, a letter presses the button of that name. The oscillator and the
 * receiver are made of arithmetic. Registers and their addresses are those of the manuals of the
 * processor (its tick and its interrupts) and of its serial ports.
 */
#include "board.h"

#include <stddef.h>

#define REGISTER(address) (*(volatile uint32_t *)(address))

#define SYSTICK_CONTROL REGISTER(0xE000E010)
#define SYSTICK_RELOAD REGISTER(0xE000E014)
#define SYSTICK_CURRENT REGISTER(0xE000E018)
#define NVIC_ENABLE REGISTER(0xE000E100)

#define LINE 0x4000C000u
#define HAND 0x4000D000u
#define UART_DATA(uart) REGISTER((uart) + 0x00)
#define UART_FLAGS(uart) REGISTER((uart) + 0x18)
#define UART_LINE(uart) REGISTER((uart) + 0x2C)
#define UART_CONTROL(uart) REGISTER((uart) + 0x30)
#define UART_MASK(uart) REGISTER((uart) + 0x38)
#define UART_CLEAR(uart) REGISTER((uart) + 0x44)
#define RECEIVER_EMPTY 0x10u
#define SENDER_FULL 0x20u
#define EIGHT_BITS 0x60u
#define SEND_RECEIVE_ON 0x301u
#define RECEIVED 0x10u
#define LINE_INTERRUPT 5u
#define HAND_INTERRUPT 6u

/* Of the emulated processor, after its reset. */
#define CLOCKS_IN_A_MILLISECOND 12500u

int main(void);

static volatile uint32_t ticks;
static volatile char pressed;
static uint64_t frequency;
static bool output;

/* --- interrupts -------------------------------------------------------------------------------- */

static void tick(void)
{
    ticks++;
}

static void line_received(void)
{
    while (!(UART_FLAGS(LINE) & RECEIVER_EMPTY))
        example_byte_received((uint8_t)UART_DATA(LINE));
    UART_CLEAR(LINE) = RECEIVED;
}

static void hand_moved(void)
{
    while (!(UART_FLAGS(HAND) & RECEIVER_EMPTY)) {
        char what = (char)UART_DATA(HAND);
        if (what == '+' || what == '-')
            example_knob_stepped(what == '+');
        else if (what >= 'a' && what <= 'z')
            pressed = what;
    }
    UART_CLEAR(HAND) = RECEIVED;
}

/* --- what example_main.c wants ----------------------------------------------------------------- */

void board_start(void)
{
    SYSTICK_RELOAD = CLOCKS_IN_A_MILLISECOND - 1u;
    SYSTICK_CURRENT = 0;
    SYSTICK_CONTROL = 7; /* from the processor's clock, with its interrupt, on */
    for (uint32_t uart = LINE; uart <= HAND; uart += HAND - LINE) {
        UART_LINE(uart) = EIGHT_BITS;
        UART_CONTROL(uart) = SEND_RECEIVE_ON;
        UART_MASK(uart) = RECEIVED;
    }
    NVIC_ENABLE = 1u << LINE_INTERRUPT | 1u << HAND_INTERRUPT;
}

uint32_t board_milliseconds(void)
{
    return ticks;
}

uint32_t board_boot_number(void)
{
    /* Memory outside of what start-up clears survives a reset, though no loss of power. */
    static uint32_t boots __attribute__((section(".kept")));
    return ++boots;
}

void board_send(const char *bytes, uint8_t count)
{
    for (uint8_t i = 0; i < count; i++) {
        while (UART_FLAGS(LINE) & SENDER_FULL) {
        }
        UART_DATA(LINE) = (uint8_t)bytes[i];
    }
}

bool board_set_oscillator(uint64_t *millihertz)
{
    frequency = *millihertz;
    return true;
}

bool board_measure_level(uint32_t *counts)
{
    /* Another one on each channel, and nothing to be heard without an oscillator. */
    *counts = output ? (uint32_t)(frequency >> 20) & 4095u : 0u;
    return true;
}

void board_switch_output(bool on)
{
    output = on;
}

const char *board_pressed_button(void)
{
    static char name[2];
    if (!pressed)
        return NULL;
    name[0] = pressed;
    pressed = 0;
    return name;
}

void board_rest(void)
{
    __asm__ volatile("wfi");
}

/* --- start-up ---------------------------------------------------------------------------------- */

/* From image.ld. */
extern uint32_t data_begin[], data_end[], data_image[], bss_begin[], bss_end[], stack_top[];

static void start(void)
{
    uint32_t *from = data_image;
    for (uint32_t *to = data_begin; to < data_end;)
        *to++ = *from++;
    for (uint32_t *to = bss_begin; to < bss_end;)
        *to++ = 0;
    (void)main();
}

static void stop(void)
{
    for (;;) {
    }
}

typedef void (*vector)(void);

__attribute__((section(".vectors"), used)) static const struct {
    uint32_t *stack;
    vector handlers[15 + HAND_INTERRUPT + 1];
} vectors = {
    stack_top,
    {
        [0] = start,
        [1] = stop, /* non-maskable */
        [2] = stop, /* hard fault */
        [3] = stop,
        [4] = stop,
        [5] = stop,
        [14] = tick,
        [15 + LINE_INTERRUPT] = line_received,
        [15 + HAND_INTERRUPT] = hand_moved,
    },
};

/* What a compiler expects of every environment (C99, 4 and the manual of the compiler). */
void *memset(void *to, int value, size_t count);
void *memcpy(void *to, const void *from, size_t count);

void *memset(void *to, int value, size_t count)
{
    volatile char *at = to;
    while (count-- > 0)
        *at++ = (char)value;
    return to;
}

void *memcpy(void *to, const void *from, size_t count)
{
    volatile char *at = to;
    const char *source = from;
    while (count-- > 0)
        *at++ = *source++;
    return to;
}
