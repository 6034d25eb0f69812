"""ESP32 DevKitC (the first ESP32): what each pin does (GPIO numbers), what a volt means. Numbers only."""

CRANK_A = 18
CRANK_B = 19
WHEEL = 21
BRAKE = 22
CLEAR_BUTTON = 23
MAINTENANCE = 27
SAFE_START = 4
COMMAND_DAC = 25
DRIVE_ENABLE = 26
LAMP = 13

THROTTLE_ADC = 32
SELECTOR_ADC = 33
BATTERY_ADC = 34
CURRENT_ADC = 35
HEAT_ADC = 36

# What 3.3 V at the pin would mean at the other end of the wiring guide's dividers.
PIN_FULL_MV = 3_300
PIN_HIGHEST_MV = 3_100  # The converter's highest reading.
LEVER_FULL_MV = 5_500
BATTERY_FULL_MV = 62_700
CURRENT_FULL_MA = 33_000
COMMAND_FULL_MV = 4_950
