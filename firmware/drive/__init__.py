"""From watts to a command voltage: the power loop and the limits of its rates."""
