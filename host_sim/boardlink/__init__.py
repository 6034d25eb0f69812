"""The host's end of the link to a board: frames and console today; `bundle`, `flash` and `watch` use them.

No physics and no rules here. pyserial is imported only where a port is opened.
"""
