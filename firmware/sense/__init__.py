"""From edges and voltages to facts: direction, cadence, speed, lever shares, power."""
