"""A crank and a wheel that turn as commanded, without physics, and integers that check themselves."""
