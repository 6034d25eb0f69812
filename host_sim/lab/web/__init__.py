"""What only a browser runs or shows: style, scripts, and stand-ins for what is not there."""
