"""Files for the browser only: style, scripts, and replacements for missing packages."""
