/* What example_main.c and docs/firmware.md leave to the builder, and what they give back. */
#ifndef BOARD_H
#define BOARD_H

#include <stdbool.h>
#include <stdint.h>

void board_start(void);
uint32_t board_milliseconds(void);
uint32_t board_boot_number(void);
void board_send(const char *bytes, uint8_t count);
bool board_set_oscillator(uint64_t *millihertz);
bool board_measure_level(uint32_t *counts);
void board_switch_output(bool on);
const char *board_pressed_button(void);
void board_rest(void);

void example_byte_received(uint8_t byte);
void example_knob_stepped(bool up);

#endif
