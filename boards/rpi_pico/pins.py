"""Raspberry Pi Pico and Pico 2: which pin does what (GP numbers), and what full scale means. Numbers only."""

CRANK_A = 2
CRANK_B = 3
WHEEL = 4
BRAKE = 5
CLEAR_BUTTON = 6
MAINTENANCE = 7
COMMAND_PWM = 8
DRIVE_ENABLE = 9
MULTIPLEXER_LOW = 10
MULTIPLEXER_HIGH = 11
SAFE_START = 12
LAMP = 25

THROTTLE_ADC = 26
CURRENT_ADC = 27
MULTIPLEXED_ADC = 28  # Channel 0 selector, 1 battery, 2 motor temperature.

# What the converter's full scale, 3.3 V at the pin, means at the other end of the wiring guide's dividers.
LEVER_FULL_MV = 5_500
BATTERY_FULL_MV = 62_700
CURRENT_FULL_MA = 33_000
COMMAND_FULL_MV = 4_950
PWM_HZ = 50_000
