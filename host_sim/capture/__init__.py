"""Recorded sensor edges: readers and writers of capture files, and what the edges show about the sensor.

`open_capture` turns a capture file into a stream of `EdgeChunk`s. This folder uses no bench, plant or
controller except the firmware's own decoder.
"""
