"""An independent source of captures: its own magnets, fields and Hall switches, no code of the bench."""
