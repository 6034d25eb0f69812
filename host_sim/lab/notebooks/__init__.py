"""The notebooks: a heading, a figure, sliders, an exercise and notes each. Nothing is computed here."""
