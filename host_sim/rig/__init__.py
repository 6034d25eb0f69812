"""A crank and a wheel that turn as they are told, without physics, and integers that check themselves."""
