"""The C form: C99 from the firmware's sources, without heap, floats or a library."""
