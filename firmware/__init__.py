"""What is copied to the microcontroller: the assist logic, in integers, without I/O or a clock.

Nothing here imports anything but its own files. The base modules are `ticks`, `integers`,
`records` and `settings`; `sense` uses them, `decide`, `drive` and `guard` use `sense`, `controller`
uses those, and `loop` uses `controller`. Host tools, floats and files that people edit are elsewhere.
"""
