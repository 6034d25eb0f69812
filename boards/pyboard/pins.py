"""pyboard v1.1: what each pin does (names on the board), what full scale means. Nothing else."""

CRANK_A = "X1"
CRANK_B = "X2"
WHEEL = "X3"
BRAKE = "X4"
COMMAND_DAC = "X5"
COMMAND_DAC_PORT = 1  # The converter behind X5.
DRIVE_ENABLE = "X6"
CLEAR_BUTTON = "X7"
MAINTENANCE = "X8"
SAFE_START = "X9"
LAMP = "LED_GREEN"

THROTTLE_ADC = "X11"
SELECTOR_ADC = "X12"
BATTERY_ADC = "X19"
CURRENT_ADC = "X20"
HEAT_ADC = "X21"

EXPIRY_TIMER = 7

# What the converter's full scale, 3.3 V at the pin, means at the other end of the wiring guide's dividers.
LEVER_FULL_MV = 5_500
BATTERY_FULL_MV = 62_700
CURRENT_FULL_MA = 33_000
COMMAND_FULL_MV = 4_950
