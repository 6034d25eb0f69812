"""What is copied to the microcontroller: the assist logic, in integers, without I/O or a clock.

Nothing in here imports anything but its own files. The ground floor is `ticks`, `integers`,
`records` and `settings`; on it stands `sense`, on that `decide`, `drive` and `guard`, on those
`controller`, and on top `loop`. Host tools, floats and file formats of people live elsewhere.
"""
